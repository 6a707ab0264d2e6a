"""A real window on a virtual screen, worked by a real pointer and keyboard."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from bite.annotate.state.view import Area, fit_view

ROOT = Path(__file__).parents[2]
FRAME = "tern/tern-a07.bite.toml"
PICTURE_PX = (810, 1080)
PLACES = {"11d": (393.0, 633.0), "21d": (447.5, 630.0), "41d": (400.0, 633.5), "31d": (444.0, 633.0)}
OFF_PX = 0.05
"""The file must hold what was pointed at, to a twentieth of a picture pixel."""


def missing() -> str:
    """Say what keeps this from running; empty when nothing does."""
    if shutil.which("Xvfb") is None:
        return "needs Xvfb (Debian: xvfb)"
    if shutil.which("xdotool") is None:
        return "needs xdotool"
    if importlib.util.find_spec("_tkinter") is None and importlib.util.find_spec("PySide6") is None:
        return "needs tkinter (Debian: python3-tk) or PySide6-Essentials"
    return ""


pytestmark = pytest.mark.skipif(bool(missing()), reason=missing() or "-")


def wait_for(done: Callable[[], object], what: str, seconds: float = 40.0) -> object:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := done():
            return found
        time.sleep(0.05)
    raise AssertionError(f"waited {seconds:g} s for {what}")


@pytest.fixture(scope="module")
def display(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A virtual screen of its own."""
    read, write = os.pipe()
    log = (tmp_path_factory.mktemp("xvfb") / "log").open("wb")
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1400x900x24", "-nolisten", "tcp", "-noreset"],
        pass_fds=(write,),
        stderr=log,
    )
    os.close(write)
    with os.fdopen(read) as told:
        number = told.readline().strip()
    assert number, "Xvfb did not start"
    yield f":{number}"
    server.terminate()
    server.wait(10)
    log.close()


class RealWindow:
    """`bite annotate` in a process of its own, and hands on it."""

    def __init__(self, display: str, frame: Path, toolkit: str = "tk", *more: Path) -> None:
        self.environment = {**os.environ, "DISPLAY": display, "MPLCONFIGDIR": str(frame.parent)}
        # a None in sys.modules makes the import fail, as on a machine without Tk
        without_tk = "sys.modules['tkinter'] = None; " if toolkit == "qt" else ""
        program = f"import sys; {without_tk}from bite.cli import main; sys.exit(main())"
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-c", program, "annotate", str(frame), *map(str, more)),
                *("--annotator", "ab", "--no-check"),
            ],
            env=self.environment,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.window = str(wait_for(self._find, "the window")).split()[-1]
        wait_for(self._focus, "the window to take the keyboard")
        self.left, self.top, self.width, self.height = self._geometry()

    def _focus(self) -> bool:
        words = ["xdotool", "windowfocus", "--sync", self.window]
        return subprocess.run(words, env=self.environment, capture_output=True).returncode == 0

    def _find(self) -> str:
        if self.process.poll() is not None:
            raise AssertionError(self.process.stderr.read() if self.process.stderr else "gone")
        found = subprocess.run(
            ["xdotool", "search", "--onlyvisible", "--name", "bite annotate"],
            env=self.environment,
            capture_output=True,
            text=True,
        )
        return found.stdout

    def _geometry(self) -> tuple[int, int, int, int]:
        time.sleep(0.7)  # until the toolkit has settled its size
        told = self.act("getwindowgeometry", "--shell", self.window)
        values = dict(line.split("=") for line in told.split() if "=" in line)
        return tuple(int(values[key]) for key in ("X", "Y", "WIDTH", "HEIGHT"))  # type: ignore[return-value]  # four of them

    def act(self, *words: str) -> str:
        done = subprocess.run(["xdotool", *words], env=self.environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def click(self, x: int, y: int) -> None:
        self.act("mousemove", "--sync", str(self.left + x), str(self.top + y), "sleep", "0.05", "click", "1")

    def key(self, *keys: str) -> None:
        for key in keys:
            self.act("key", "--window", "0", key)

    def pixels(self) -> np.ndarray:
        """What the screen shows of the window, shape (height, width, 3)."""
        from PIL import ImageGrab

        box = (self.left, self.top, self.left + self.width, self.top + self.height)
        shot = ImageGrab.grab(bbox=box, xdisplay=self.environment["DISPLAY"])
        return np.asarray(shot.convert("RGB"))


@pytest.fixture
def frame(tmp_path: Path) -> Path:
    """A copy of a demo frame without clicks."""
    shutil.copytree(ROOT / "demo_bite" / "tern", tmp_path / "tern")
    shutil.copy(ROOT / "demo_bite" / "bench-depth.device.toml", tmp_path)
    (tmp_path / "tern" / "front.corners.json").unlink()
    return tmp_path / FRAME


def saved_points(frame: Path) -> dict[str, dict[str, float]]:
    path = frame.with_name("front.corners.json")
    return dict(json.loads(path.read_text())["points"]) if path.exists() else {}


def close(window: RealWindow) -> str:
    window.key("q")
    out, errors = window.process.communicate(timeout=30)
    assert window.process.returncode == 0, errors
    return out


@pytest.mark.slow
@pytest.mark.parametrize("toolkit", ["tk", "qt"])
def test_click_nudge_undo_zoom_save(display: str, frame: Path, toolkit: str) -> None:
    module = {"tk": "_tkinter", "qt": "PySide6"}[toolkit]
    if importlib.util.find_spec(module) is None:
        pytest.skip(f"this Python has no {module}")
    window = RealWindow(display, frame, toolkit)
    try:
        from bite.annotate.drawing.screen import Screen

        screen = Screen(window.width, window.height)
        on_mouth = window.pixels()
        window.key("f")
        view = fit_view(*PICTURE_PX, screen.picture)
        # on a busy machine the key is obeyed later than it is pressed
        wait_for(lambda: not np.array_equal(window.pixels(), on_mouth), "the whole picture")
        time.sleep(0.3)
        bare = window.pixels()
        expected = {}
        for count, (code, place) in enumerate(PLACES.items(), 1):
            x, y = (round(v) for v in view.to_screen(place))
            if count == 3:
                # wheel up over the place: it stays there, and the click gets finer
                window.act("mousemove", "--sync", str(window.left + x), str(window.top + y))
                for _ in range(6):
                    window.act("click", "4")
                view = view.zoomed(1.25**6, (x, y)).kept_in_sight(*PICTURE_PX, screen.picture)
                x, y = (round(v) for v in view.to_screen(place))
            window.click(x, y)
            expected[code] = view.to_picture((x, y))
            wait_for(lambda n=count: len(saved_points(frame)) == n, f"{code} on disk")
        window.key("Right", "Right", "shift+Down")
        expected["31d"] = (expected["31d"][0] + 0.2, expected["31d"][1] + 1.0)
        wait_for(
            lambda: abs(saved_points(frame)["31d"]["y"] - expected["31d"][1]) < 1e-6, "the nudges on disk"
        )
        window.key("Left", "z")
        window.key("c")
        wait_for(lambda: saved_points(frame)["31d"]["state"] == "covered", "the state on disk")
        shown = window.pixels()
        points = saved_points(frame)
        for code, (x, y) in expected.items():
            assert abs(points[code]["x"] - x) < OFF_PX, (code, points[code], (x, y))
            assert abs(points[code]["y"] - y) < OFF_PX, (code, points[code], (x, y))
        check_screenshot(bare, shown, screen.picture, [view.to_screen(place) for place in expected.values()])
        told = close(window)
        assert "4 corners" in told
    finally:
        if window.process.poll() is None:
            window.process.kill()
            window.process.wait()


def check_screenshot(
    bare: np.ndarray, shown: np.ndarray, picture: Area, marks: list[tuple[float, float]]
) -> None:
    """Panel, marks and loupe must be on the screen, not only in memory."""
    from bite.annotate.drawing.lettering import colour_of
    from bite.annotate.drawing.panel import PAPER
    from bite.plots.style import MEASURED

    paper = (np.abs(shown[:, picture.right + 2 :].astype(int) - PAPER).max(2) <= 2).mean()
    assert paper > 0.5, "no panel"
    blue = np.abs(shown.astype(int) - colour_of(MEASURED.colour)).max(2) <= 12
    for x, y in marks:
        around = blue[max(0, round(y) - 12) : round(y) + 13, max(0, round(x) - 12) : round(x) + 13]
        assert around.sum() > 15, f"no mark at {x:.0f}, {y:.0f}"
    white = (shown[:, : picture.right] == 255).all(2)
    longest = max(_longest_run(row) for row in white)
    assert longest > 150, "no frame of a loupe"
    assert (bare != shown).any()


def _longest_run(row: np.ndarray) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


@pytest.mark.slow
def test_killed_with_the_window_open_nothing_is_lost(display: str, frame: Path) -> None:
    window = RealWindow(display, frame)
    try:
        for count in range(1, 4):
            window.click(300 + 20 * count, 400)
            wait_for(lambda n=count: len(saved_points(frame)) == n, f"click {count} on disk")
    finally:
        window.process.kill()
        window.process.wait()
    assert len(saved_points(frame)) == 3
    again = RealWindow(display, frame)
    try:
        assert "3 corners" in close(again)
    finally:
        if again.process.poll() is None:
            again.process.kill()


@pytest.mark.slow
def test_two_frames_real_clicks_and_keys(display: str, frame: Path) -> None:
    """On to the second frame with the keyboard, a click there, and back: each click in its own file."""
    other = frame.parent.with_name("plover")
    shutil.copytree(ROOT / "demo_bite" / "plover", other)
    second = other / "plover-b02.bite.toml"
    (other / "front.corners.json").unlink()
    window = RealWindow(display, frame, "tk", second)
    try:
        window.click(300, 400)
        wait_for(lambda: len(saved_points(frame)) == 1, "the first frame's click on disk")
        window.key("Next")

        def clicked_there() -> bool:
            window.click(340, 380)
            return len(saved_points(second)) > 0

        wait_for(clicked_there, "the second frame's click on disk")
        window.key("F1", "h", "Escape", "Prior")

        def ended() -> bool:
            # keys that come while a frame is being opened are dropped
            subprocess.run(["xdotool", "key", "q"], env=window.environment, capture_output=True)
            return window.process.poll() is not None

        wait_for(ended, "the window to close")
        told, errors = window.process.communicate(timeout=10)
        assert window.process.returncode == 0, errors
        assert len(saved_points(frame)) == 1 and told.count("corners.json") == 2
        assert all("x" in point for point in saved_points(second).values()), "H behind the help hid a corner"
    finally:
        if window.process.poll() is None:
            window.process.kill()
            window.process.wait()


@pytest.mark.slow
def test_without_a_display_one_line_says_what_to_install(frame: Path) -> None:
    environment = {
        k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    }
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from bite.cli import main; sys.exit(main())",
            "annotate",
            str(frame),
        ],
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert len(done.stderr.strip().split("\n")) == 1
    assert 0 < done.stderr.index("--browser") < done.stderr.index("python3-tk")
