"""`bite watch`: the verdict of each bite frame as it lands in a folder."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import exit_for
from bite.errors import InputError

if TYPE_CHECKING:
    from bite.cast.settings import CastSettings
    from bite.decision import Verdict

LOOK_EVERY_S = 0.25
"""Two looks alike make a file whole, and a check takes about a second: together below two."""
BAD_FOR_LOOKS = 8
"""A copy may stall: what cannot be read is told once it has stayed so for this many looks."""
_FOOT = """\
Results and pictures are written as by bite check, so bite cast takes them as they are. Ctrl-C ends it.
exit codes with --once: 0 all leave, move or usable, 1 something needs a person, 2 bad or missing input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "watch",
        help="check each bite frame as it lands in a folder",
        description="Check each bite frame of a folder as soon as all its files are whole.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", metavar="FOLDER", help="folder that frames are copied into")
    parser.add_argument("--cast", metavar="CAST", help="cast file to take devices and tolerance from")
    parser.add_argument("--once", action="store_true", help="do what is there, then end")


def run(args: argparse.Namespace) -> int:
    """Look, check, tell; until an interrupt, or once."""
    from bite.cast.landing import Landing
    from bite.cast.one_frame import frame_row
    from bite.report.cast_content import FailedFrame

    folder = Path(args.folder)
    if not folder.is_dir():
        raise InputError(folder, "", "is no folder", "name the folder that frames are copied into")
    settings = _settings(args, folder)
    import bite.check
    import bite.report.before_after  # noqa: F401  loaded before the first frame lands

    landing = Landing(folder)
    bad: dict[Path, int] = {}
    verdicts: list[Verdict] = []
    failures = 0
    looks = 0
    while True:
        for path in landing.landed():
            outcome = frame_row(path, str(path.relative_to(folder)), settings)
            if not isinstance(outcome, FailedFrame):
                bad.pop(path, None)
                verdicts.append(outcome.verdict)
                print(f"{outcome.name}: {outcome.verdict.upper()} - {outcome.why}", flush=True)
            elif bad.get(path, 0) >= BAD_FOR_LOOKS:
                failures += 1
                print(outcome.line, file=sys.stderr, flush=True)
            else:
                bad[path] = bad.get(path, 0) + 1
                del landing.told[path]
        looks += 1
        if args.once and looks > BAD_FOR_LOOKS + 2:
            break
        time.sleep(LOOK_EVERY_S)
    for path, names in landing.waiting().items():
        failures += 1
        print(f"{path.relative_to(folder)}: waits for {', '.join(names)}", file=sys.stderr)
    return exit_for(verdicts, bad_inputs=failures)


def _settings(args: argparse.Namespace, folder: Path) -> CastSettings:
    from tempfile import gettempdir

    from bite.cast.settings import CastSettings
    from bite.decision import TOLERANCE_MM

    pictures = folder / ".bite-cast"
    try:
        pictures.mkdir(exist_ok=True)
    except OSError:
        pictures = Path(gettempdir())
    if args.cast is None:
        return CastSettings(TOLERANCE_MM, None, {}, folder, None, pictures)
    from bite.files.cast import read_cast

    cast = read_cast(Path(args.cast))
    return CastSettings(cast.tolerance_mm, cast.performance_device, cast.devices, folder, None, pictures)
