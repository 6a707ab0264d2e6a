"""How the edge fit of the annotation window does on photographed teeth: careful clicks against rough ones.

    python -m tests.bench.real_snap FOLDER [--off-px 2] [--turns 12]

FOLDER holds `clicks.json` (a key a picture: `points`, clicked with care, about 0.7 px a sd) and pictures
`KEY.png`. Every upper corner is clicked again, so many px off in directions that go round, the other corners
of the row being off by as much in directions of their own. Told, in colour and in monochrome: in how many an
offer is made; how far rough clicks and offers lie from the careful one (rms of the distance); how often over
three stated sds (of offer and careful click together) and over 3 px; why nothing was offered.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.bench.real_mouths import read

CORNERS = ("11d", "11m", "21m", "21d")
CAREFUL_SD_PX = 0.7


def study(folder: Path, off_px: float, turns: int, *, grey: bool) -> str:
    """Run every corner of every picture; give what came of it."""
    from bite.evidence.enamel.corner_snap import NoSnap, snap_corner
    from bite.files.corners import CornerPoint, CornerState

    known = json.loads((folder / "clicks.json").read_text())
    rng = np.random.default_rng(5)
    offers: list[tuple[float, float, float]] = []
    refused: Counter[str] = Counter()
    tried = 0
    for key in sorted(known):
        careful = {c: p for c, p in known[key]["points"].items() if c in CORNERS and p["state"] == "seen"}
        if not careful:
            continue
        picture = read(folder / f"{key}.png")
        if grey:
            light = np.rint(picture @ np.array([0.299, 0.587, 0.114])).astype(np.uint8)
            picture = np.repeat(light[..., None], 3, 2)
        at = {c: np.array([p["x"], p["y"]]) for c, p in careful.items()}
        for name in at:
            for turn in range(turns):
                angle = {c: rng.uniform(0.0, 2.0 * np.pi) for c in at} | {name: 2.0 * np.pi * turn / turns}
                rough = {c: at[c] + off_px * np.array([np.cos(a), np.sin(a)]) for c, a in angle.items()}
                clicks = {c: CornerPoint(CornerState.SEEN, float(x), float(y)) for c, (x, y) in rough.items()}
                found = snap_corner(picture, clicks, name)
                tried += 1
                if isinstance(found, NoSnap):
                    refused[" ".join(found.why.split("(")[0].split()[:6])] += 1
                    continue
                off = float(np.hypot(*(np.array(found.place_px) - at[name])))
                offers.append((off, found.sd_px, float(np.hypot(found.sd_px, CAREFUL_SD_PX))))
    table = np.array(offers).reshape(-1, 3)
    off, sd, both = table.T
    # a distance in the plane: three sds of one axis hold 98.9 % of it
    told = (
        f"{'grey' if grey else 'colour'}: {len(off)} offers in {tried} ({100 * len(off) / tried:.0f} %), "
        f"rough {off_px:.2f} px, offers {np.sqrt(np.mean(off**2)):.2f} px (median {np.median(off):.2f}), "
        f"stated sd per axis {np.median(sd):.2f} px; over 3 sd {100 * np.mean(off > 3 * both):.1f} %, "
        f"over 3 stated sd alone {100 * np.mean(off > 3 * sd):.1f} %, over 3 px {int((off > 3).sum())}"
    )
    return "\n".join([told, *(f"  {count:5d}  {why}" for why, count in refused.most_common())])


def main(arguments: Sequence[str] | None = None) -> int:
    """Print both studies."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.real_snap", description=__doc__.partition("\n")[0]
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--off-px", type=float, default=2.0)
    parser.add_argument("--turns", type=int, default=12)
    asked = parser.parse_args(arguments)
    for grey in (False, True):
        print(study(asked.folder, asked.off_px, asked.turns, grey=grey), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
