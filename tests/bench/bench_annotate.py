"""How long the annotation window takes to answer the hand, on a 12 megapixel picture.

Run:  python tests/bench/bench_annotate.py [--tk]

Prints median and 95th percentile, ms, of each action at two sizes of window, and their ratio to one plain
imshow redraw of the same picture in the same run (a machine's speed cancels in it). --tk measures in a real
window (needs a display), the toolkit's own drawing included; otherwise on a bare Agg canvas. Saves go to a
temporary folder and are counted apart.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

TARGETS_MS = {
    (1280, 800): {"move": (16, 20), "zoom": (20, 35), "click": (16, 20), "nudge": (16, 20)},
    (2560, 1440): {"move": (20, 28)},
}


def big_picture() -> np.ndarray:
    """A 4000 x 3000 picture with structure at every size."""
    rng = np.random.default_rng(7)
    rows, columns = np.mgrid[0:3000, 0:4000]
    waves = 90 + 60 * np.sin(columns / 37.0) * np.cos(rows / 23.0)
    picture = np.stack([waves, waves * 0.8, waves * 0.7], -1) + rng.normal(0, 12, (3000, 4000, 1))
    return np.clip(picture, 0, 255).astype(np.uint8)


def make_bench(picture: np.ndarray, folder: Path) -> Any:
    """A workbench over a picture alone, as `bite annotate` makes it."""
    from tests.annotate.support import bench_of_picture

    return bench_of_picture(picture, folder, now=lambda: datetime.now(UTC))


def canvas_of(size: tuple[int, int], tk: bool) -> tuple[Any, Callable[[], None]]:
    """A canvas of that many physical pixels and what lets the toolkit finish drawing."""
    if tk:
        from bite.annotate.toolkit.canvas import open_canvas

        canvas, _, _ = open_canvas("bench", size)
        window = canvas.get_tk_widget().winfo_toplevel()
        window.geometry(f"{size[0]}x{size[1]}+0+0")
        for _ in range(20):
            window.update()
            time.sleep(0.02)
        return canvas, window.update
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    return FigureCanvasAgg(Figure(figsize=(size[0] / 100, size[1] / 100), dpi=100)), lambda: None


def imshow_ms(picture: np.ndarray, size: tuple[int, int]) -> float:
    """Median time of one plain redraw of the same picture, ms."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size[0] / 100, size[1] / 100), dpi=100)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.imshow(picture)
    canvas.draw()
    spent = []
    for k in range(5):
        axes.set_xlim(1000 + k, 2600 + k)
        start = time.perf_counter()
        canvas.draw()
        spent.append(time.perf_counter() - start)
    return 1e3 * float(np.median(spent))


def measure(size: tuple[int, int], picture: np.ndarray, tk: bool) -> dict[str, np.ndarray]:
    """Times of each action, ms."""
    from matplotlib.backend_bases import KeyEvent, MouseEvent

    from bite.annotate.toolkit.window import Window

    canvas, finish = canvas_of(size, tk)
    bench = make_bench(picture, Path(tempfile.mkdtemp()))
    window = Window(canvas, bench)
    canvas.draw()
    finish()
    height = canvas.get_width_height(physical=True)[1]
    area = bench.screen.picture
    rng = np.random.default_rng(1)
    saves: list[float] = []
    settle = bench.settle

    def timed_settle() -> None:
        start = time.perf_counter()
        settle()
        saves.append(1e3 * (time.perf_counter() - start))

    bench.settle = timed_settle

    def timed(act: Callable[[], None]) -> float:
        saves.clear()
        start = time.perf_counter()
        act()
        finish()
        # a save follows the drawing: the eye does not wait for it
        return 1e3 * (time.perf_counter() - start) - sum(saves)

    def mouse(name: str, x: float, y: float, **more: Any) -> None:
        MouseEvent(name, canvas, x, height - y, **more)._process()

    spent: dict[str, list[float]] = {"move": [], "zoom": [], "click": [], "nudge": [], "save": []}
    x, y = area.width * 0.5, area.height * 0.6
    mouse("motion_notify_event", x, y)
    for _ in range(14):
        mouse("scroll_event", x, y, step=1)
    for k in range(130):
        step = rng.normal(0, 12, 2)
        x = float(np.clip(x + step[0], 30, area.width - 30))
        y = float(np.clip(y + step[1], 30, area.height - 30))
        spent["move"].append(timed(partial(mouse, "motion_notify_event", x, y)))
        if k % 3 == 0:
            turn = 1 if (k // 3) % 12 < 6 else -1
            spent["zoom"].append(timed(partial(mouse, "scroll_event", x, y, step=turn)))
        if k % 4 == 0:
            bench.desk.ask("11d")
            spent["click"].append(timed(partial(mouse, "button_press_event", x, y, button=1)))
            mouse("button_release_event", x, y, button=1)
            spent["nudge"].append(timed(lambda: KeyEvent("key_press_event", canvas, "right")._process()))
            spent["save"].append(sum(saves))
    window.poll()
    bench.finish()
    return {name: np.array(values[3:]) for name, values in spent.items()}


def main() -> int:
    """Measure both sizes; 1 where a target is missed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--tk", action="store_true", help="measure in a real Tk window")
    tk = parser.parse_args().tk
    picture, missed = big_picture(), 0
    for size, targets in TARGETS_MS.items():
        plain = imshow_ms(picture, size)
        print(
            f"{size[0]} x {size[1]}, {'Tk window' if tk else 'bare canvas'}; one imshow redraw {plain:.0f} ms"
        )
        for name, values in measure(size, picture, tk).items():
            median, high = float(np.median(values)), float(np.percentile(values, 95))
            line = f"  {name:6s} median {median:6.1f}  p95 {high:6.1f} ms"
            line += f", {plain / median:5.1f} x faster than imshow"
            if name in targets:
                fine = median <= targets[name][0] and high <= targets[name][1]
                line += f"  (target {targets[name][0]}/{targets[name][1]}{'' if fine else ': MISSED'})"
                missed += not fine
            print(line)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
