"""A small frame on the bench, a canvas without a display, and a hand for it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from inspect import signature
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backend_bases import KeyEvent, MouseEvent

from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.live import LiveCheck
from bite.annotate.state.view import Point
from bite.annotate.store.corner_files import CornerStore
from bite.annotate.toolkit.window import Window
from bite.annotate.workbench import Workbench
from bite.files.bundle import BiteFrame, LoadedView
from bite.files.device import Device
from bite.files.frame import FrameFile, ViewEntry
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen

NOON = datetime(2026, 1, 31, 12, 0, 0, tzinfo=UTC)
LENS = frozen([0.08, -0.05, 0.001, -0.0005, 0.0])


def camera_of(width: int, height: int, placed: Rigid | None = None) -> Camera:
    """A camera with some distortion, focal length 1.2 picture widths."""
    f = 1.2 * width
    matrix = frozen([[f, 0, width / 2 - 0.5], [0, f, height / 2 - 0.5], [0, 0, 1]])
    return Camera(width, height, matrix, LENS, placed or Rigid())


def frame_of(pictures: list[np.ndarray], folder: Path) -> BiteFrame:
    """A frame with pictures alone; the second view stands 60 mm to the right."""
    views, entries = [], []
    for k, picture in enumerate(pictures):
        name = ("front", "side")[k]
        height, width = picture.shape[:2]
        placed = Rigid(translation_mm=frozen([-60.0, 3.0, 8.0])) if k else Rigid()
        path = folder / f"{name}.png"
        views.append(LoadedView(name, path, picture, camera_of(width, height, placed), None))
        entries.append(ViewEntry(name, path, folder / f"{name}.yaml", folder / f"{name}.corners.json"))
    file = FrameFile(folder / "a.bite.toml", "finch-a01", "finch", "bench", None, tuple(entries), None, None)
    return BiteFrame(
        file, tuple(views), None, None, None, None, None, None, None, Device("bench", "none"), {}
    )


def store_of(view: LoadedView, now: Callable[[], datetime] = lambda: NOON) -> CornerStore:
    """The corner file beside a view's picture."""
    height, width = view.image.shape[:2]
    path = view.image_path.with_name(f"{view.name}.corners.json")
    return CornerStore(
        path, image_file=view.image_path.name, width_px=width, height_px=height, annotator="ab", now=now
    )


def bench_of_frame(
    frame: BiteFrame, live: LiveCheck | None = None, now: Callable[[], datetime] = lambda: NOON
) -> Workbench:
    """A frame on the bench with whatever is clicked on disk."""
    stores = [store_of(view, now) for view in frame.views]
    return Workbench(frame, stores, tuple(store.load() for store in stores), live)


def bench_of_picture(
    picture: np.ndarray, folder: Path, now: Callable[[], datetime] = lambda: NOON
) -> Workbench:
    """One picture on the bench."""
    return bench_of_frame(frame_of([picture], folder), now=now)


def grey_picture(height: int = 480, width: int = 640) -> np.ndarray:
    """A picture in which every place looks different."""
    rows, columns = np.mgrid[0:height, 0:width]
    return np.stack([columns * 255 // width, rows * 255 // height, (rows + columns) % 256], -1).astype(
        np.uint8
    )


@dataclass
class Hand:
    """A hand on a window without a display: makes the events a toolkit would make."""

    window: Window
    bench: Workbench
    canvas: Any

    @property
    def height(self) -> int:
        return int(self.canvas.get_width_height(physical=True)[1])

    @property
    def pixels(self) -> np.ndarray:
        """What the canvas shows, shape (height, width, 4)."""
        return np.array(np.asarray(self.canvas.buffer_rgba()))

    def on_screen(self, picture_place: Point) -> Point:
        return self.bench.transform.to_screen(picture_place)

    def mouse(self, name: str, at: Point, **more: Any) -> None:
        # toolkits report whole pixels
        MouseEvent(f"{name}_event", self.canvas, round(at[0]), self.height - round(at[1]), **more)._process()

    def move(self, at: Point, pressed: int | None = None) -> None:
        """Move the pointer, with a button held down or not."""
        # which buttons are down is told since Matplotlib 3.10
        known = "buttons" in signature(MouseEvent.__init__).parameters
        self.mouse("motion_notify", at, **({"buttons": [pressed] if pressed else []} if known else {}))

    def click(self, at: Point, button: int = 1) -> None:
        self.move(at)
        self.mouse("button_press", at, button=button)
        self.mouse("button_release", at, button=button)

    def exact(self, place: Point) -> Point:
        """The picture place of the screen pixel nearest to a picture place: what a click there means."""
        x, y = self.on_screen(place)
        return self.bench.transform.to_picture((round(x), round(y)))

    def click_picture(self, place: Point) -> Point:
        """Click as near to a picture place as whole screen pixels allow; give the place that was meant."""
        self.click(self.on_screen(place))
        return self.exact(place)

    def drag(self, path: list[Point], button: int = 1, key: str | None = None) -> None:
        self.move(path[0])
        self.mouse("button_press", path[0], button=button, key=key)
        for at in path[1:]:
            self.move(at, button)
        self.mouse("button_release", path[-1], button=button)

    def wheel(self, at: Point, step: float) -> None:
        self.mouse("scroll", at, step=step)

    def key(self, *keys: str) -> None:
        for key in keys:
            KeyEvent("key_press_event", self.canvas, key)._process()

    def places(self) -> dict[str, Point]:
        return self.bench.desk.here.places

    def saved(self, view: str = "front") -> dict[str, Any]:
        """The corner file as it is on disk; empty where there is none."""
        path = next(s.path for s in self.bench.stores if s.path.name.startswith(view))
        return dict(json.loads(path.read_text())) if path.exists() else {}


def hand_on(bench: Workbench, size: tuple[int, int] = (1280, 800)) -> Hand:
    """Open a window on a canvas without a display."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    canvas = FigureCanvasAgg(Figure(figsize=(size[0] / 100, size[1] / 100), dpi=100))
    window = Window(canvas, bench)
    canvas.draw()
    return Hand(window, bench, canvas)


def with_clicks(bench: Workbench, clicks: ViewClicks) -> Workbench:
    """The same frame with other clicks to start from."""
    rest = tuple(replace(view) for view in bench.desk.clicks[1:])
    return Workbench(bench.frame, bench.stores, (clicks, *rest), None)
