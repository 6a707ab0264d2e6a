"""Make the pictures of docs/guide/ from the demo and nothing else.

    python docs/make_guide.py                 all of them, some minutes
    python docs/make_guide.py frames window   these only

Each picture is what a command of the guide writes or shows, in 256 colours, all together below 1.6 MB;
`frames`, `pair` and `vertices` are drawn here. `cast` needs Chromium to photograph a page.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from bite.cli import main as bite  # noqa: E402  the demo's scenes lie beside it, not in what is installed
from docs.make_picture import few_coloured  # noqa: E402  as above

DEMO = ROOT / "demo_bite"
GUIDE = ROOT / "docs" / "guide"
PLOVER = DEMO / "plover" / "plover-b02.bite.toml"
WIDTH_PX = 1200
PAGE_PX = (1280, 1000)
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")


def run(*arguments: object, fine: tuple[int, ...] = (0, 1)) -> None:
    """Run one command of the tool; any code but those of an answer is a fault."""
    code = bite([str(argument) for argument in arguments])
    if code not in fine:
        raise SystemExit(f"bite {' '.join(map(str, arguments))} ended in {code}")


def opened(path: Path) -> Image.Image:
    """Give a picture that stays when its folder goes."""
    return Image.open(path).convert("RGB")


def frames(folder: Path) -> Image.Image:
    """Draw four mouths of the demo at one scale: one fit, three not."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    shown = (
        ("plover-b02", "FIT", "teeth closed, a wide grin, even light", "#009E73"),
        ("knot-b05", "NOT FIT", "the rows are apart: not biting", "#D55E00"),
        ("sanderling-a01", "NOT FIT", "burnt out, and moving", "#D55E00"),
        ("phalarope-b09", "HARDLY", "only a thin strip of enamel shows", "#D55E00"),
    )
    figure = Figure(figsize=(12, 6.7), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    for axes, (name, word, why, colour) in zip(figure.subplots(2, 2).flat, shown, strict=True):
        home = DEMO / name.partition("-")[0]
        points = json.loads((home / "front.corners.json").read_text(encoding="utf-8"))["points"]
        corners = {code: (p["x"], p["y"]) for code, p in points.items() if "x" in p}
        left, right = corners["11d"], corners["21d"]
        x, y = (left[0] + right[0]) / 2, (left[1] + right[1]) / 2
        half = 2.3 * (right[0] - left[0])
        picture = next(path for path in sorted(home.glob("front.[jp][pn]g")))
        axes.imshow(np.asarray(opened(picture)))
        axes.set_xlim(x - half, x + half)
        axes.set_ylim(y + 0.5 * half, y - 0.5 * half)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.set_title(f"{word}: {why}", fontsize=14, color=colour, loc="left", fontweight="bold")
        for spine in axes.spines.values():
            spine.set_color(colour)
            spine.set_linewidth(3)
    figure.savefig(folder / "frames.png")
    return opened(folder / "frames.png")


def pair(folder: Path) -> Image.Image:
    """Draw the head-worn pair of the demo: what both cameras see, and the corners clicked in both."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 7.6), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle("One bite from two grey cameras: the same corners are clicked in both", fontsize=14)
    panels = figure.subplots(2, 2, height_ratios=(2.4, 1.0))
    home = DEMO / "stilt"
    for (whole, mouth), view in zip(panels.T, ("left", "right"), strict=True):
        clicks = json.loads((home / f"{view}.corners.json").read_text(encoding="utf-8"))
        corners = {code: p for code, p in clicks["points"].items() if "x" in p}
        # sixteen levels of grey: the file stays small, and nothing of the mouth is lost
        picture = np.asarray(opened(home / f"{view}.jpg")) // 16 * 17
        for axes in (whole, mouth):
            axes.imshow(picture)
            axes.set_xticks([])
            axes.set_yticks([])
        nose = clicks["landmarks"]["subnasale"]
        whole.plot(nose["x"], nose["y"], "+", ms=18, mew=3, color="#0072B2")
        whole.set_title(f"{view}; cross: base of the nose", loc="left", fontsize=12, fontweight="bold")
        x, y = (np.mean([corners[code][axis] for code in ("11m", "21m")]) for axis in ("x", "y"))
        half = 1.5 * abs(corners["21d"]["x"] - corners["11d"]["x"])
        mouth.set_xlim(x - half, x + half)
        mouth.set_ylim(y + 0.42 * half, y - 0.58 * half)
        for code, aside in (("11d", -1.9), ("11m", -0.55), ("21m", 0.55), ("21d", 1.9)):
            at = corners[code]
            mouth.plot(at["x"], at["y"], "o", ms=9, mfc="none", mec="#0072B2", mew=2.5)
            mouth.annotate(
                code, (at["x"], at["y"]), (x + 0.36 * half * aside, y + 0.34 * half), fontsize=12,
                ha="center", va="center", bbox={"boxstyle": "round", "fc": "white", "ec": "#0072B2"},
                arrowprops={"arrowstyle": "-", "color": "#0072B2", "lw": 2},
            )  # fmt: skip
        mouth.set_title(f"{view}: upper corners, as clicked", loc="left", fontsize=12)
    figure.savefig(folder / "pair.png")
    return opened(folder / "pair.png")


def card(folder: Path) -> Image.Image:
    """Measure the computed cards."""
    cards = [DEMO / "cards" / name / f"{name}.bite.toml" for name in ("card-350", "card-500")]
    run("device", *cards, "--out", folder)
    return opened(next(folder.glob("*.png")))


def choose(folder: Path) -> Image.Image:
    """Rank the frames of a simulated take."""
    import cv2

    from bite.files.corners import Corners, write_corners
    from demo_bite.scene.settings import Detail
    from demo_bite.scene.take import TakeSettings, simulate_take

    settings = TakeSettings(width_px=312, height_px=240, focal_px=1050.0, detail=Detail.COARSE)
    take = simulate_take(11, settings)
    grin = folder / "grin"
    grin.mkdir()
    for frame in take.frames():
        cv2.imwrite(str(grin / f"g{frame.number:03d}.png"), frame.image[:, :, ::-1])
    name = f"g{take.clicked:03d}"
    path = grin / f"{name}.corners.json"
    size = settings.width_px, settings.height_px
    write_corners(path, Corners(path, f"{name}.png", *size, dict(take.clicks), annotator="ab"))
    run("choose", grin)
    return opened(folder / "grin.choose.png")


def window(folder: Path) -> Image.Image:
    """Show the window of `bite annotate` with all corners clicked and the check's answer."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from bite.annotate.opening import open_bench
    from bite.annotate.state.answer import check_clicks
    from bite.annotate.state.keys import Action
    from bite.annotate.toolkit.window import Window
    from bite.check.steps import check_frame

    shutil.copytree(DEMO / "plover", folder / "plover")
    shutil.copy(DEMO / "bench-depth.device.toml", folder)
    noon = datetime(2026, 1, 31, 12, tzinfo=UTC)
    command = f"bite check {PLOVER.relative_to(ROOT).as_posix()}"
    path = folder / "plover" / PLOVER.name
    bench = open_bench(path, annotator="ab", now=lambda: noon, live=False, command=command)
    canvas = FigureCanvasAgg(Figure(figsize=(12.8, 8), dpi=100))
    shown = Window(canvas, bench)
    canvas.draw()
    bench.act(Action.MOUTH)
    bench.answer = check_clicks(bench.frame, bench.desk.clicks, check_frame)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[:, :, :3].copy()
    del shown
    bench.finish()
    return Image.fromarray(pixels)


def recheck(folder: Path) -> Image.Image:
    """Hold the frame after the move beside the one before."""
    run("recheck", PLOVER, PLOVER.with_name("plover-b02-after.bite.toml"), "--out", folder)
    return opened(folder / "plover-b02-after.recheck.png")


def opinion(folder: Path) -> Image.Image:
    """Ask what would explain the frame."""
    run("opinion", PLOVER, "--out", folder)
    return opened(next(folder.glob("*.png")))


def cast(folder: Path) -> Image.Image:
    """Check the demo's cast and photograph the top of its page."""
    browser = next((found for name in CHROMIUM if (found := shutil.which(name))), None)
    if browser is None:
        raise SystemExit("cast: no Chromium here to photograph the page")
    # one frame of the demo was exported with closed lips, and is refused as bad input
    run("cast", DEMO / "cast.toml", "--out", folder, fine=(2,))
    target = folder / "page.png"
    size = f"--window-size={PAGE_PX[0]},{PAGE_PX[1]}"
    offline = ("--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder / 'profile'}")
    arguments = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", *offline, size]
    subprocess.run(
        [browser, *arguments, f"--screenshot={target}", (folder / "cast.html").as_uri()],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    return opened(target)


def vertices(folder: Path) -> Image.Image:
    """Draw the rest export's front teeth, row by row, with the vertices that the rig file names."""
    import tomllib

    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.collections import PolyCollection
    from matplotlib.figure import Figure

    rig = tomllib.loads((DEMO / "plover" / "rig.toml").read_text(encoding="utf-8"))
    lines = (DEMO / "plover" / rig["rest"]).read_text(encoding="utf-8").splitlines()
    points = np.array([line.split()[1:4] for line in lines if line.startswith("v ")], float) * rig["unit_mm"]
    up, forward = np.array(rig["up"]), np.array(rig["forward"])
    # the performer's right stands on the left, as in a picture
    flat = np.column_stack([points @ np.cross(up, forward), points @ up])
    towards = points @ forward
    figure = Figure(figsize=(12, 8), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    told = (("upper", "12", 3.2, "Upper row"), ("lower", "34", -3.2, "Lower row (upper hidden)"))
    for axes, (row, digits, height, title) in zip(figure.subplots(2, 1), told, strict=True):
        faces, part = [], ""
        for line in lines:
            if line[:2] in ("o ", "g "):
                part = line.split()[1]
            elif line.startswith("f ") and part in rig["parts"][row]:
                # OBJ counts from 1
                faces.append([int(word.partition("/")[0]) - 1 for word in line.split()[1:]])
        front = [face for face in faces if _turns_left(flat[face])]
        front.sort(key=lambda face: float(np.mean(towards[face])))
        named = {code: number for code, number in rig["corners"].items() if code[0] in digits}
        centre = np.mean([flat[number] for number in named.values()], axis=0)
        crowns = PolyCollection([flat[face] - centre for face in front], fc="#F4F1E6", ec="#999999", lw=0.5)
        axes.add_collection(crowns)
        for code, number in named.items():
            x, y = flat[number] - centre
            away = (1 if x > 0 else -1) * (11.5 if code[2] == "d" else 3.4)
            axes.plot(x, y, "o", ms=10, mfc="#D55E00", mec="black")
            axes.annotate(
                f"{code} = {number}", (x, y), (away, -height), fontsize=15, ha="center", va="center",
                bbox={"boxstyle": "round", "fc": "white", "ec": "#D55E00"},
                arrowprops={"arrowstyle": "-", "color": "#D55E00", "lw": 2},
            )  # fmt: skip
        low, high = sorted((-1.6 * height, 2.6 * height))
        axes.set(xlim=(-16, 16), ylim=(low, high), aspect="equal", ylabel="mm, up")
        axes.set_title(f"{title}: vertex numbers of its incisal angles, counted from 0", loc="left")
    axes.set_xlabel("mm, across the mouth; the performer's right is on the left")
    figure.savefig(folder / "vertices.png")
    return opened(folder / "vertices.png")


def _turns_left(corners: np.ndarray) -> bool:
    """Tell whether a face, seen from the front, runs round anticlockwise: then it is one that is seen."""
    x, y = corners[:, 0], corners[:, 1]
    return bool(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) > 0)


PICTURES: dict[str, Callable[[Path], Image.Image]] = {
    made.__name__: made for made in (frames, pair, card, choose, window, recheck, cast, opinion, vertices)
}


def save(picture: Image.Image, target: Path) -> None:
    """Write a picture no wider than a page and in few colours: letters stay readable."""
    if picture.width > WIDTH_PX:
        height_px = round(picture.height * WIDTH_PX / picture.width)
        picture = picture.resize((WIDTH_PX, height_px), Image.Resampling.LANCZOS)
    few_coloured(picture.convert("RGB")).save(target, optimize=True)


def main(argv: list[str] | None = None) -> int:
    """Make the pictures that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("pictures", nargs="*", metavar="NAME", help=", ".join(PICTURES))
    wanted = parser.parse_args(argv).pictures or list(PICTURES)
    if unknown := sorted(set(wanted) - set(PICTURES)):
        parser.error(f"no picture is called {', '.join(unknown)}; there are {', '.join(PICTURES)}")
    GUIDE.mkdir(exist_ok=True)
    for name in wanted:
        with tempfile.TemporaryDirectory() as folder:
            save(PICTURES[name](Path(folder)), GUIDE / f"{name}.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
