"""`bite annotate`: click the incisor corners of a bite frame, with the check answering while it is done."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit
from bite.cli.frame_path import require_frame_file
from bite.cli.numbers import whole
from bite.cli.streams import tell
from bite.errors import InputError

if TYPE_CHECKING:
    from bite.annotate.sitting import Sitting
    from bite.annotate.workbench import Workbench
    from bite.check.assessment import Assessment
    from bite.files.bundle import BiteFrame
    from bite.files.cast import CastFile

SIZE_PX = (1280, 800)
"""Fits the smallest screens in use (our choice)."""
_FOOT = """\
Corners are saved after each change beside the picture, as the frame file names them. ? in the window shows
all keys; page down and page up go from frame to frame, L lists them. exit codes: 0 all clicks are saved,
1 some could not be saved, 2 bad input (what cannot be opened is passed over) or no window possible."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "annotate",
        help="click the corners of bite frames",
        description="Open bite frames in a window, one after the other, and click their incisors' corners.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "frames", metavar="FRAME", nargs="+", help="bite frame files, NAME.bite.toml, or a cast file"
    )
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
    from bite.annotate.toolkit.canvas import open_canvas
    from bite.annotate.toolkit.window import Window

    paths, cast, left_out = _named(args.frames)
    sitting = _sitting(args, paths, cast)
    title = f"bite annotate: {sitting.bench.frame.name if len(paths) == 1 else f'{len(paths)} frames'}"
    if args.browser:
        from bite.annotate.toolkit.browser import browser_canvas

        canvas, run_window, close = browser_canvas(title, SIZE_PX, port=args.port, tell=tell)
    else:
        canvas, run_window, close = open_canvas(title, SIZE_PX)
    Window(canvas, sitting.bench, close=close, sitting=sitting)
    try:
        run_window()
    finally:
        sitting.finish()
    return _told_at_the_end(sitting, left_out)


def _named(names: Sequence[str]) -> tuple[list[Path], CastFile | None, list[str]]:
    """Give the frame files that are meant, their cast, and a line for each that cannot be one."""
    from bite.files.frame import SUFFIX
    from bite.files.source import stands

    paths: list[Path] = []
    casts: list[CastFile] = []
    left_out: list[str] = []
    for name in names:
        path = Path(name)
        if path.suffix == ".toml" and not path.name.endswith(SUFFIX) and stands(path):
            from bite.cast.runner.listing import list_frames
            from bite.files.cast import read_cast

            casts.append(read_cast(path))
            listed = list_frames(casts[-1], one_folder=False)
            left_out += [failure.line for failure in listed.failures]
            paths += [frame for frame, _ in listed.frames]
            if not listed.frames:
                raise InputError(path, "frames", "finds no bite frame", "correct the patterns in it")
        else:
            paths.append(require_frame_file(name))
    if len(casts) > 1:
        raise InputError(casts[1].path, "", "a second cast file", "annotate one cast at a time")
    once = {path.resolve(): path for path in reversed(paths)}
    return list(reversed(once.values())), casts[0] if casts else None, left_out


def _sitting(args: argparse.Namespace, paths: list[Path], cast: CastFile | None) -> Sitting:
    from datetime import UTC, datetime

    from bite.annotate.opening import open_bench, stand_on_disk
    from bite.annotate.sitting import Sitting

    annotator = login_name() if args.annotator is None else args.annotator

    def check(frame: BiteFrame) -> Assessment:
        from bite.check.steps import check_frame

        if cast is None:
            return check_frame(frame)
        return check_frame(
            frame, tolerance_mm=cast.tolerance_mm, performance_device=cast.performance_device or None
        )

    def opened(path: Path) -> Workbench:
        return open_bench(
            path,
            annotator=annotator,
            now=lambda: datetime.now(UTC),
            live=not args.no_check,
            devices=None if cast is None else cast.devices,
            check=check,
            command=f"bite check {path}" if cast is None else f"bite cast {cast.path}",
        )

    return Sitting(paths, opened, stand_on_disk)


def _told_at_the_end(sitting: Sitting, left_out: Sequence[str]) -> int:
    code = Exit.FINE
    for visited in sitting.visited.values():
        for note in visited.notes:
            tell(note)
        for store, view in zip(visited.stores, visited.clicks, strict=True):
            if not store.status.saved:
                tell(f"NOT SAVED: {store.status.why_not}")
                code = Exit.PERSON
            elif view.done:
                print(f"{store.path}: {len(view.points)} corners, {len(view.landmarks)} landmarks")
    for line in (*left_out, *sitting.failed.values()):
        tell(f"left out: {line}")
        code = code or Exit.BAD_INPUT
    return int(code)


def login_name() -> str:
    """Give the login name; empty where the system knows none."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
