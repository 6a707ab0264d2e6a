"""`bite annotate`: click the incisor corners of a bite frame, with the check answering while it is done."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bite.cli.exits import Exit
from bite.cli.frame_path import require_frame_file
from bite.cli.numbers import whole
from bite.cli.streams import tell

if TYPE_CHECKING:
    from bite.annotate.workbench import Workbench

SIZE_PX = (1280, 800)
"""Fits the smallest screens in use (our choice)."""
_FOOT = """\
Corners are saved after each change beside the picture, as the frame file names them. ? in the window shows
all keys. exit codes: 0 all clicks are saved, 1 some could not be saved, 2 bad input or no window possible."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "annotate",
        help="click the corners of a bite frame",
        description="Open a bite frame in a window and click the corners of its incisors.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("frame", metavar="FRAME", help="bite frame file, NAME.bite.toml")
    parser.add_argument("--annotator", metavar="NAME", help="who clicks (default: the login name)")
    parser.add_argument(
        "--browser",
        action="store_true",
        help="show the window in a browser: for a machine without a desktop, slow",
    )
    parser.add_argument(
        "--port",
        type=whole("a port", least=1024, most=65535),
        default=8988,
        metavar="N",
        help="first port for --browser (8988)",
    )
    parser.add_argument("--no-check", action="store_true", help="do not run the check while clicking")


def run(args: argparse.Namespace) -> int:
    """Open the window and come back when it is closed."""
    from datetime import UTC, datetime

    from bite.annotate.opening import open_bench
    from bite.annotate.toolkit.canvas import open_canvas
    from bite.annotate.toolkit.window import Window

    path = require_frame_file(args.frame)
    annotator = login_name() if args.annotator is None else args.annotator
    bench = open_bench(path, annotator=annotator, now=lambda: datetime.now(UTC), live=not args.no_check)
    title = f"bite annotate: {bench.frame.name}"
    if args.browser:
        from bite.annotate.toolkit.browser import browser_canvas

        canvas, run_window, close = browser_canvas(title, SIZE_PX, port=args.port, tell=tell)
    else:
        canvas, run_window, close = open_canvas(title, SIZE_PX)
    Window(canvas, bench, close=close)
    try:
        run_window()
    finally:
        bench.finish()
    return _told_at_the_end(bench)


def _told_at_the_end(bench: Workbench) -> int:
    code = Exit.FINE
    for note in bench.notes.lines:
        tell(note)
    for store, view in zip(bench.stores, bench.desk.clicks, strict=True):
        if not store.status.saved:
            tell(f"NOT SAVED: {store.status.why_not}")
            code = Exit.PERSON
        elif view.done:
            print(f"{store.path}: {len(view.points)} corners, {len(view.landmarks)} landmarks")
    return int(code)


def login_name() -> str:
    """Give the login name; empty where the system knows none."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
