"""Where the lip line is found in photographs whose upper rim was traced by hand, from starts that are off.

    python -m tests.bench.real_lips FOLDER [--csv FILE]

FOLDER holds `clicks.json` (a key a picture: `points`, and for some `upper_lip_rim`, points along the lower
edge of the upper lip, traced to about 0.5 px) and pictures `KEY.png`. Scan lines are laid across a curve
through the trace, moved up or down by what a solved lip may be off; each start is run in colour and in
monochrome. One line a start: how many places are read, how far a lip as a whole is read off (its mean over
places; that is what ``fit.lip_block.LIP_SD_MM`` stands for), how far places scatter about it, how many
places are off by over 0.5 mm, and how many lie within 0.1 mm of a start that is itself off by over 0.5 mm.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from tests.bench.real_mouths import mm_per_px, read

STARTS_MM = (-1.6, -1.2, -0.8, -0.4, 0.0, 0.4, 0.8, 1.2, 1.6)
SPACING_MM = 0.4
OFF_MM = 0.5


@dataclass(frozen=True, slots=True)
class Place:
    """One place, two millimetres of a lip: how far outward of the trace it was read, mm; NaN: not read."""

    key: str
    grey: bool
    start_mm: float
    off_mm: float


def places(key: str, picture: np.ndarray, rim: np.ndarray, scale: float, start_mm: float) -> list[float]:
    """Read one lip from one start, outward positive; a number a place."""
    from bite.evidence.lips.edges import find_lip_edges

    curve = np.polynomial.Polynomial.fit(rim[:, 0], rim[:, 1], 3)
    x = np.arange(rim[0, 0], rim[-1, 0], SPACING_MM / scale)
    slope = curve.deriv()(x)
    outward = np.column_stack([slope, -np.ones_like(x)]) / np.hypot(slope, 1.0)[:, None]
    trace = np.column_stack([x, curve(x)])
    edge_y = rim[:, 1].max() + 20.0  # a central crown or so below the rim: enamel as far as is looked
    found = find_lip_edges(
        picture,
        trace + start_mm / scale * outward,
        outward,
        room_mm=(edge_y - curve(x)) * scale + start_mm,
        spacing_mm=SPACING_MM,
        mm_per_px=scale,
    )
    place = ((x - x[0]) * scale / 2.0).astype(int)
    out = []
    for k in np.unique(place):
        own = found[place == k]
        known = np.isfinite(own)
        read_here = known.sum() >= 3 and 2 * known.sum() >= len(own)
        out.append(float(np.median(own[known])) * scale + start_mm if read_here else float("nan"))
    return out


def summary(rows: Sequence[Place], start_mm: float, *, grey: bool) -> str:
    """One line on a start."""
    own = [r for r in rows if r.start_mm == start_mm and r.grey == grey]
    off = np.array([r.off_mm for r in own])
    known = np.isfinite(off)
    keys = np.array([r.key for r in own])
    lips = {k: off[known & (keys == k)] for k in sorted(set(keys))}
    means = np.array([v.mean() for v in lips.values() if len(v) >= 4])
    scatter = [v - v.mean() for v in lips.values() if len(v) >= 4]
    line = f"{'grey' if grey else 'colour':7s} start {start_mm:+.1f} mm  read {known.sum():3d} of {len(off)}"
    if not len(means):
        return line
    stuck = known & (np.abs(off - start_mm) < 0.1) & (abs(start_mm) > OFF_MM)
    return (
        f"{line}  a lip's mean {means.mean():+.2f} mm, rms {np.sqrt(np.mean(means**2)):.2f}"
        f"  places about it {np.std(np.concatenate(scatter)):.2f}"
        f"  off by over {OFF_MM} mm {(np.abs(off[known]) > OFF_MM).sum()}  at the start {stuck.sum()}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run every lip from every start."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.real_lips", description=__doc__.partition("\n")[0]
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--csv", type=Path)
    asked = parser.parse_args(arguments)
    known = json.loads((asked.folder / "clicks.json").read_text())
    rows: list[Place] = []
    for key in sorted(known):
        if not known[key].get("upper_lip_rim"):
            continue
        colour = read(asked.folder / f"{key}.png")
        luminance = np.rint(colour @ np.array([0.299, 0.587, 0.114])).astype(np.uint8)
        rim, scale = np.array(known[key]["upper_lip_rim"], dtype=float), mm_per_px(known[key]["points"])
        for grey, picture in ((False, colour), (True, np.repeat(luminance[..., None], 3, 2))):
            for start in STARTS_MM:
                rows += [Place(key, grey, start, v) for v in places(key, picture, rim, scale, start)]
    if not rows:
        print(f"{asked.folder}: no picture has an upper_lip_rim", file=sys.stderr)
        return 1
    for grey in (False, True):
        for start in STARTS_MM:
            print(summary(rows, start, grey=grey))
    if asked.csv:
        with asked.csv.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(asdict(rows[0])))
            writer.writeheader()
            writer.writerows(asdict(r) for r in rows)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
