"""How well the edge fit of the annotation window finds corners on computed heads, beside the raw click.

Run:  python tests/bench/bench_corner_snap.py [HEADS]     (default 6; each takes some seconds to draw)

The true corner is the vertex of the head's own mesh, projected. Clicks scatter as the demo's do (0.9 px
distal, 0.5 px mesial). None of these heads was used to choose the constants of the fit. Computed enamel is
rounded and glossy and stands beside its neighbours, but it is not a photograph: these numbers bound nothing
on real teeth.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

CLICK_SD_PX = {"d": 0.9, "m": 0.5}
REPEATS = 4


def head(seed: int) -> tuple[np.ndarray, dict[str, tuple[float, float]], dict[str, str]]:
    """A picture of a head, where its corners are, and how each of them can be seen."""
    from bite.geometry.teeth import CORNERS
    from demo_bite.scene.settings import Bite, Clicks, Detail, PictureSettings, Settings
    from demo_bite.scene.simulate import simulate

    width = (810, 1000)[seed % 2]
    picture = PictureSettings(
        width, width * 4 // 3, width * 1.3, focus_blur_px=(0.6, 0.9, 1.2)[seed // 3 % 3]
    )
    settings = Settings(
        picture=picture,
        depth=False,
        detail=Detail.MEDIUM,
        scene_detail=Detail.FINE,
        bite=Bite(overbite_mm=-1.5 if seed % 4 == 0 else None),
        clicks=Clicks(0.0, 0.0, 0.0),
    )
    frame = simulate(np.random.default_rng(seed), settings)
    view = frame.views[0]
    assert view.image is not None
    pixels = view.camera.project(np.asarray(frame.truth.corners_mm))
    places = {code: (float(x), float(y)) for code, (x, y) in zip(CORNERS, pixels, strict=True)}
    return view.image, places, {code: str(point.state) for code, point in view.corners.items()}


def main() -> int:
    """Print rms errors per axis of raw and snapped clicks, and what was refused."""
    from bite.evidence.enamel.corner_snap import NoSnap, snap_corner
    from bite.files.corners import CornerPoint, CornerState

    heads = int(sys.argv[1]) if len(sys.argv) > 1 else 6
    rng = np.random.default_rng(3)
    errors: dict[str, list[np.ndarray]] = {}
    refused: Counter[str] = Counter()
    for seed in range(300, 300 + heads):
        image, places, states = head(seed)
        for _ in range(REPEATS):
            clicks = {
                code: CornerPoint(
                    CornerState.SEEN, *map(float, place + rng.normal(0, CLICK_SD_PX[code[-1]], 2))
                )
                for code, place in places.items()
                if states[code] == "seen"
            }
            for code, click in clicks.items():
                found = snap_corner(image, clicks, code)
                if isinstance(found, NoSnap):
                    refused[found.why.split(" (")[0].rstrip("0123456789.")] += 1
                    continue
                raw = np.array([click.x_px, click.y_px]) - places[code]
                snapped = np.array(found.place_px) - places[code]
                kind = ("upper " if code[0] in "12" else "lower ") + (
                    "distal" if code[-1] == "d" else "mesial"
                )
                errors.setdefault(kind, []).append(np.array([*raw, *snapped, found.sd_px]))
    for kind, rows in sorted(errors.items()):
        table = np.array(rows)
        raw, snapped = (float(np.sqrt((table[:, k : k + 2] ** 2).mean())) for k in (0, 2))
        worst, stated = float(np.abs(table[:, 2:4]).max()), float(np.median(table[:, 4]))
        print(
            f"{kind}: {len(table):4d} offered, rms per axis {raw:.2f} px raw, {snapped:.2f} px snapped, "
            f"worst {worst:.1f} px, stated sd {stated:.2f} px"
        )
    for why, count in refused.most_common():
        print(f"refused {count:4d}: {why}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
