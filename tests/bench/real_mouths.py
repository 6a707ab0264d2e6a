"""What `bite check` says of photographed mouths without a solved model, as they are and with planted faults.

    python -m tests.bench.real_mouths FOLDER [--half a|b] [--list] [--case NAME] [--csv FILE]

FOLDER holds `clicks.json` (a key a picture: `points`, `seen`) and pictures `KEY.png` cropped to the mouth,
0.3 mm or so a pixel. Every frame is written as files and read back as `bite check` does. Each case is run
in colour and in monochrome (the luminance in all three channels); counts are told apart for two halves of
the set, every other picture, and by the lightness of the skin around the mouth. `spoilt` cases must never
come out `usable`.
"""

from __future__ import annotations

import argparse
import csv
import json
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

UPPER, LOWER = ("11d", "11m", "21m", "21d"), ("41d", "41m", "31m", "31d")
CROWN_MM = 8.6
Points = dict[str, dict[str, object]]


@dataclass(frozen=True, slots=True)
class Case:
    """A picture and its clicks, as they are or spoilt."""

    name: str
    key: str
    picture: np.ndarray
    points: Points
    spoilt: bool


@dataclass(frozen=True, slots=True)
class Told:
    """What was said of one case."""

    case: str
    key: str
    grey: bool
    spoilt: bool
    half: str
    skin: str
    verdict: str
    rows: str
    contradicts: bool
    text: str


def moved(points: Points, right: float, down: float) -> Points:
    """Shift every click."""
    return {
        code: {**p, "x": p["x"] + right, "y": p["y"] + down} if "x" in p else p for code, p in points.items()
    }


def mm_per_px(points: Points) -> float:
    """Take the scale from the width of two centrals."""
    return (
        2
        * CROWN_MM
        / float(np.hypot(points["21d"]["x"] - points["11d"]["x"], points["21d"]["y"] - points["11d"]["y"]))
    )


def opened(picture: np.ndarray, points: Points, gap_mm: float) -> np.ndarray:
    """Part the rows: all below the upper edge slides down, and the dark of the mouth shows between."""
    gap = round(gap_mm / mm_per_px(points))
    known = [points[c] for c in UPPER if c in points]
    x, y = (np.array([p[k] for p in known]) for k in ("x", "y"))
    edge = np.interp(np.arange(picture.shape[1]), x, y) + 0.8 / mm_per_px(points)
    bend = 0.004 * np.clip(np.abs(np.arange(picture.shape[1]) - x.mean()) - 1.1 * np.ptp(x), 0, None) ** 2
    rows = np.arange(picture.shape[0])[:, None] - np.round(edge - bend)[None]
    out = np.where((rows >= gap)[..., None], np.roll(picture, gap, 0), picture).astype(float)
    level = np.percentile(picture[int(y.mean()) - 12 : int(y.mean()), int(x[0]) : int(x[-1])], 75)
    half = 1.6 * np.ptp(x) / 2
    inside = (rows >= 0) & (rows < gap) & (np.abs(np.arange(picture.shape[1]) - x.mean()) < half)[None]
    dark = np.random.default_rng(0).normal(0.0, 2.0, out.shape) + level * np.array([0.13, 0.08, 0.08])
    out = np.where(inside[..., None], dark, out)
    return gaussian(np.clip(out, 0, 255).astype(np.uint8), 0.6)


def gaussian(picture: np.ndarray, sigma: float) -> np.ndarray:
    """Blur."""
    from scipy import ndimage

    return np.clip(ndimage.gaussian_filter(picture.astype(float), (sigma, sigma, 0)) + 0.5, 0, 255).astype(
        np.uint8
    )


def smeared(picture: np.ndarray, length: int, axis: int) -> np.ndarray:
    """Smear evenly."""
    from scipy import ndimage

    out = ndimage.uniform_filter1d(picture.astype(float), length, axis=axis, mode="nearest")
    return np.clip(out + 0.5, 0, 255).astype(np.uint8)


def fur(shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Draw strands: noise smeared along one direction, in browns and whites."""
    from scipy import ndimage

    strands = ndimage.gaussian_filter(rng.normal(size=shape[:2]), (4.0, 0.7))
    patches = ndimage.gaussian_filter(rng.normal(size=shape[:2]), 18.0)
    strands, patches = strands / strands.std(), patches / patches.std()
    light = np.clip(0.5 + 0.16 * strands + 0.2 * np.tanh(2 * patches), 0, 1)
    colour = np.array([1.0, 0.86, 0.70]) ** (1.5 - light[..., None])
    return np.clip(255 * light[..., None] * colour, 0, 255).astype(np.uint8)


def every_case(folder: Path) -> Iterator[Case]:
    """Give all cases of a folder."""
    known = json.loads((folder / "clicks.json").read_text())
    with_teeth = [key for key in known if known[key]["points"]]
    usual: Points = {
        code: {
            "x": float(np.median([known[k]["points"][code]["x"] for k in with_teeth])),
            "y": float(np.median([known[k]["points"][code]["y"] for k in with_teeth])),
            "state": "seen",
        }
        for code in UPPER
    }
    hidden: Points = {code: {"state": "hidden"} for code in ("11d", "21d", "31d", "41d")}
    rng = np.random.default_rng(7)
    for key in sorted(known):
        picture, points = read(folder / f"{key}.png"), known[key]["points"]
        if not points:
            yield Case("closed lips, no clicks", key, picture, {}, True)
            yield Case("closed lips, hidden", key, picture, hidden, True)
            for down in (-12.0, 0.0, 6.0, 12.0):
                yield Case(f"closed lips, clicked {down:+.0f} px", key, picture, moved(usual, 0, down), True)
            continue
        scale = mm_per_px(points)
        apart = str(known[key]["seen"]).startswith("apart")
        yield Case("open, as shot" if apart else "as shot", key, picture, points, apart)
        uppers = {code: p for code, p in points.items() if code in UPPER}
        yield Case("upper distal clicks only", key, picture, {c: points[c] for c in ("11d", "21d")}, apart)
        yield Case("all hidden", key, picture, hidden, True)
        for down in (60, 120, 30, 15, 8, -8, -15, -30, -60):
            yield Case(
                f"clicks {abs(down)} px too {'low' if down > 0 else 'high'}",
                key,
                picture,
                moved(points, 0, down),
                True,
            )
        yield Case("clicks 60 px right", key, picture, moved(points, 60, 0), True)
        yield Case("smear 13 px sideways", key, smeared(picture, 13, 1), points, True)
        yield Case("smear 13 px up and down", key, smeared(picture, 13, 0), points, True)
        yield Case("Gaussian 5 px", key, gaussian(picture, 5.0), points, True)
        yield Case("noise", key, rng.integers(0, 256, picture.shape).astype(np.uint8), points, True)
        yield Case(
            "smooth noise",
            key,
            gaussian(rng.integers(0, 256, picture.shape).astype(np.uint8), 2.0),
            points,
            True,
        )
        yield Case("fur", key, fur(picture.shape, rng), points, True)
        yield Case("turned upside down", key, picture[::-1, ::-1], turned(points, picture), True)
        if not apart:
            for gap in (1.0, 2.0, 3.0):
                yield Case(f"opened by {gap:g} mm", key, opened(picture, points, gap), uppers, gap > 1.0)
            deep = dict(uppers)
            for code, x in (("41d", 0.2), ("31d", 0.8)):
                at = {k: points["11d"][k] + x * (points["21d"][k] - points["11d"][k]) for k in ("x", "y")}
                deep[code] = {"x": at["x"], "y": at["y"] + 10.0 / scale, "state": "seen"}
            yield Case("lower corners seen 10 mm below", key, picture, deep, True)
            reverse = dict(uppers)
            for code, x in (("41d", 0.2), ("31d", 0.8)):
                at = {k: points["11d"][k] + x * (points["21d"][k] - points["11d"][k]) for k in ("x", "y")}
                reverse[code] = {"x": at["x"], "y": at["y"] - 1.3 / scale, "state": "seen"}
            yield Case("reverse bite clicked", key, picture, reverse, False)


def turned(points: Points, picture: np.ndarray) -> Points:
    """Keep the clicks at the same place of the picture turned by half a turn, left and right as before."""
    height, width = picture.shape[:2]
    swap = {"11d": "21d", "21d": "11d", "11m": "21m", "21m": "11m"}
    return {
        swap[c]: {**p, "x": width - 1 - p["x"], "y": height - 1 - p["y"]}
        for c, p in points.items()
        if c in swap
    }


def read(path: Path) -> np.ndarray:
    """Read RGB."""
    import cv2

    return np.ascontiguousarray(cv2.imread(str(path), cv2.IMREAD_COLOR)[..., ::-1])


def skin_of(picture: np.ndarray) -> str:
    """Name the lightness of the skin at the picture's rim: CIE L* above 62, from 45 to 62, below 45 (our
    choice)."""
    import cv2

    rim = np.concatenate(
        [picture[:25].reshape(-1, 3), picture[-25:].reshape(-1, 3), picture[:, :20].reshape(-1, 3)]
    )
    light = float(np.median(cv2.cvtColor(rim[None].astype(np.float32) / 255, cv2.COLOR_RGB2LAB)[..., 0]))
    return "light" if light > 62 else "middle" if light > 45 else "dark"


def write_frame(folder: Path, case: Case, grey: bool) -> Path:
    """Write a frame as files."""
    import cv2

    picture = case.picture
    if grey:
        light = np.clip(picture.astype(float) @ [0.2126, 0.7152, 0.0722] + 0.5, 0, 255).astype(np.uint8)
        picture = np.repeat(light[..., None], 3, 2)
    height, width = picture.shape[:2]
    cv2.imwrite(str(folder / "m.png"), picture[..., ::-1])
    storage = cv2.FileStorage(str(folder / "m.camera.yaml"), cv2.FILE_STORAGE_WRITE)
    storage.write("image_width", width)
    storage.write("image_height", height)
    storage.write("camera_matrix", np.array([[1400.0, 0, width / 2], [0, 1400.0, height / 2], [0, 0, 1]]))
    storage.write("distortion_coefficients", np.zeros((1, 5)))
    storage.release()
    view = '[[view]]\nname = "front"\nimage = "m.png"\ncamera = "m.camera.yaml"\n'
    if case.points:
        view += 'corners = "m.corners.json"\n'
        image = {"file": "m.png", "width": width, "height": height}
        (folder / "m.corners.json").write_text(
            json.dumps({"format": "bite-corners 1", "image": image, "points": case.points})
        )
    path = folder / "m.bite.toml"
    path.write_text(f'format = "bite-frame 1"\nname = "m"\nperformer = "p"\ndevice = "camera"\n{view}')
    return path


def say(case: Case, grey: bool, half: str, skin: str, folder: Path) -> Told:
    """Check one case."""
    from bite.check.steps import check_frame
    from bite.check.text import summary
    from bite.errors import BiteError
    from bite.files.bundle import load_frame

    try:
        found = check_frame(load_frame(write_frame(folder, case, grey)))
        verdict, text = str(found.decision.verdict), summary(found)
        gap = next((f for f in found.findings if f.code == "bite-gap"), None)
        rows = "" if gap is None else f"{gap.severity}: {gap.text}"
        everything = " ".join([text, *(f"{f.code}: {f.text}" for f in found.findings)])
    except BiteError as error:
        verdict, text, rows, everything = "refused", str(error), "", ""
    except Exception as error:
        verdict, text, rows, everything = "exception", repr(error), "", ""
    return Told(
        case.name, case.key, grey, case.spoilt, half, skin, verdict, rows, contradicts(everything, rows), text
    )


def contradicts(text: str, rows: str) -> bool:
    """Look for two statements of one report about one thing that cannot both be true."""
    text = re.sub(r"\s+", " ", text)
    shows = re.search(r"(\d+\.\d) mm of lower enamel shows", text)
    shown = shows is not None and float(shows[1]) >= 0.5
    closed = "enamel follows" in rows or "lower enamel meets" in rows
    gap = re.search(r"(-?\d+\.\d+) \+- \d+\.\d+ mm from the picture", text)
    return (
        (shown and "no lower enamel shows" in text)
        or (closed and shows is not None and float(shows[1]) < 0.3)
        or (closed and gap is not None and float(gap[1]) > 0.25)
        or ("upper edge hides the lower one" in text and bool(re.search(r"\d [\w, ]*seen", rows)))
    )


def counts(told: list[Told], by: Callable[[Told], str]) -> str:
    """Count verdicts in groups."""
    groups: dict[str, Counter[str]] = {}
    for one in told:
        groups.setdefault(by(one), Counter())[one.verdict] += 1
    return "; ".join(
        f"{name} " + " ".join(f"{v}:{n}" for v, n in sorted(groups[name].items())) for name in sorted(groups)
    )


def main() -> int:
    """Print the counts."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--half", choices=("a", "b"), help="only every other picture")
    parser.add_argument("--case", default="", help="only cases whose name holds this")
    parser.add_argument("--list", action="store_true", help="a line for every picture as shot")
    parser.add_argument("--csv", type=Path)
    asked = parser.parse_args()
    halves = {
        key: "ab"[i % 2]
        for i, key in enumerate(sorted(json.loads((asked.folder / "clicks.json").read_text())))
    }
    told: list[Told] = []
    with tempfile.TemporaryDirectory() as work:
        for case in every_case(asked.folder):
            half = halves[case.key]
            if asked.case not in case.name or asked.half not in (None, half):
                continue
            skin = skin_of(read(asked.folder / f"{case.key}.png"))
            told += [say(case, grey, half, skin, Path(work)) for grey in (False, True)]
    for spoilt in (False, True):
        print("\nspoilt: none may be usable" if spoilt else "\nas shot, and what is no fault")
        for name in dict.fromkeys(t.case for t in told if t.spoilt is spoilt):
            for grey in (False, True):
                own = [t for t in told if t.case == name and t.grey is grey and t.spoilt is spoilt]
                print(
                    f"  {name:<36}{'grey  ' if grey else 'colour'} {counts(own, lambda t: t.half)}"
                    f" | contradict {sum(t.contradicts for t in own)}"
                )
    shot = [t for t in told if t.case in ("as shot", "open, as shot")]
    for grey in (False, True):
        by_skin = counts([t for t in shot if t.grey is grey], lambda t: t.skin)
        print(f"\nas shot, by skin, {'grey' if grey else 'colour'}: {by_skin}")
    wrong = [t for t in told if t.spoilt and t.verdict == "usable"]
    print(
        f"\nspoilt and usable: {len(wrong)} of {sum(t.spoilt for t in told)}; by skin: "
        f"{dict(Counter(t.skin for t in wrong))}; "
        f"exceptions {sum(t.verdict == 'exception' for t in told)}"
    )
    if asked.list:
        for t in shot:
            print(f"{t.key} {t.half} {t.skin:<6} {'grey' if t.grey else 'col '} {t.verdict:<8} {t.rows}")
    if asked.csv:
        with asked.csv.open("w", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(Told.__slots__)
            writer.writerows([getattr(t, name) for name in Told.__slots__] for t in told)
    return 0


if __name__ == "__main__":
    sys.exit(main())
