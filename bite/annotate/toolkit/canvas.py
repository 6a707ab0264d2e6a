"""Which window toolkit this machine has, and a bare canvas in it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bite.errors import BiteError

DESKTOP = ("TkAgg", "QtAgg")
_INSTALL = (
    "for a window on a desktop install a toolkit: on Debian and Ubuntu `apt install python3-tk`, elsewhere "
    "`pip install 'bite[qt]'`"
)


class NoWindowError(BiteError):
    """No toolkit can open a window here."""


def quiet_settings() -> None:
    """Take away Matplotlib's own keys, tool bar and warnings: they would act beside the window's."""
    import matplotlib

    for name in list(matplotlib.rcParams):
        if name.startswith("keymap."):
            matplotlib.rcParams[name] = []
    matplotlib.rcParams["toolbar"] = "None"
    matplotlib.rcParams["figure.raise_window"] = False


def open_canvas(title: str, size_px: tuple[int, int]) -> tuple[Any, Callable[[], None], Callable[[], None]]:
    """Open an empty window in the first toolkit that works.

    Matplotlib falls back to drawing nowhere without a word when a toolkit is missing, so each is asked for by
    name and made to open a figure.

    Returns
    -------
    canvas, run, close : the canvas, the function that runs the window until it is closed, and the one that
    closes it

    Raises
    ------
    NoWindowError
        In one line, with what to install.
    """
    reasons = []
    for backend in DESKTOP:
        try:
            return _opened(backend, title, size_px)
        except Exception as error:  # each toolkit has its own ways to fail without a display
            reason = " ".join(str(error).split()) or type(error).__name__
            reasons.append(f"{backend}: {reason[:120]}")
    raise NoWindowError(f"no window can be opened here: {_browser()}; {_INSTALL} ({'; '.join(reasons)})")


def _browser() -> str:
    from importlib.util import find_spec

    needs = "" if find_spec("tornado") else " (needs `pip install 'bite[browser]'`)"
    return f"add --browser to work in a browser{needs}"


def _opened(
    backend: str, title: str, size_px: tuple[int, int]
) -> tuple[Any, Callable[[], None], Callable[[], None]]:
    import matplotlib

    quiet_settings()
    if backend == "QtAgg":
        _need_display_for_qt()
    matplotlib.use(backend, force=True)
    import matplotlib.pyplot as plt

    figure = plt.figure(num=title, figsize=(size_px[0] / 100, size_px[1] / 100), dpi=100)
    canvas = figure.canvas
    if type(canvas).__name__.lower() != f"FigureCanvas{backend}".lower():
        plt.close(figure)
        raise RuntimeError(f"got {type(canvas).__name__}")
    _cross_cursor(canvas)
    _keep_on_screen(canvas)
    return canvas, lambda: plt.show(block=True), lambda: plt.close(figure)


def _need_display_for_qt() -> None:
    """Refuse before Qt does: without a display it ends the whole program instead of raising."""
    import os
    import sys

    if sys.platform.startswith("linux"):
        chosen = os.environ.get("QT_QPA_PLATFORM", "")
        if not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY") or chosen):
            raise RuntimeError("no display")
        from matplotlib.backends import qt_compat

        try_qt_apart(str(qt_compat.QT_API))


def try_qt_apart(binding: str) -> None:
    """Let another process open Qt first: where a library of the system is missing it aborts that one.

    Raises
    ------
    RuntimeError
        With what Qt said.
    """
    import subprocess
    import sys

    program = f"from {binding}.QtWidgets import QApplication; QApplication([])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    if done.returncode:
        lines = [line for line in done.stderr.splitlines() if line.strip()]
        said = [line for line in lines if line.startswith("qt.")] or lines[-1:]
        raise RuntimeError(said[0] if said else f"Qt ended with {done.returncode}")


def _keep_on_screen(canvas: Any) -> None:
    """Make the window no larger than the screen: toolkits open it beyond the border without a word."""
    window = canvas.manager.window
    if hasattr(window, "maxsize"):
        window.maxsize(window.winfo_screenwidth(), window.winfo_screenheight())
    elif hasattr(window, "screen"):
        room = window.screen().availableGeometry()
        window.resize(min(window.width(), room.width()), min(window.height(), room.height()))


def _cross_cursor(canvas: Any) -> None:
    from matplotlib.backend_tools import Cursors

    canvas.set_cursor(Cursors.SELECT_REGION)
