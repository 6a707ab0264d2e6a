"""`bite check`: evidence, fit, checks, decision and pictures of one bite frame or several."""

from __future__ import annotations

import argparse
import atexit
import gc
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import exit_for, tell_bad_input, tell_fault
from bite.cli.numbers import above_zero
from bite.cli.out_folder import make_folder
from bite.cli.streams import Waiting, print_file
from bite.errors import BiteError, InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from bite.check.assessment import Assessment
    from bite.check.decision import Verdict
    from bite.files.device import Device

_FOOT = """\
Writes NAME.result.json and NAME.before-after.png beside each frame, NAME being the frame's own name.
With --json one FRAME gives one JSON object, several give an array in which bad frames are left out.
exit codes: 0 all leave, move or usable, 1 a frame is unsure, beyond the dial or to be shot again,
2 bad input (the other frames are still done; with --together none is).
With --together the frames are of one performer and one rig, and give one offset: writes
PERFORMER.together.json and PERFORMER.together.png beside the first frame."""

_OBJECTS_BETWEEN_COLLECTIONS = 100_000
"""So that the collector of lost cycles runs seldom within a frame (docs/decisions.md, "what a check need not
do")."""


@dataclass(frozen=True, slots=True)
class _Settings:
    """What the frames are held against, and where the files go."""

    devices: Mapping[str, Device] | None
    tolerance_mm: float
    performance_device: str | None
    out: Path | None
    plots: Path | None


@dataclass(frozen=True, slots=True)
class _Done:
    """One checked frame."""

    assessment: Assessment
    result: str
    picture: Path


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "check",
        help="measure the offset of one or more bite frames",
        description="Say what the dial must be set to, or why a bite frame cannot tell.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("frames", nargs="+", metavar="FRAME", help="bite frame file, NAME.bite.toml")
    parser.add_argument("--out", metavar="DIR", help="folder for results and pictures, made where missing")
    panels = "folder for each panel as a picture of its own, and for one that blinks between before and after"
    parser.add_argument("--plots", metavar="DIR", help=panels)
    told = parser.add_mutually_exclusive_group()
    told.add_argument("--json", action="store_true", help="results to stdout, nothing else there")
    told.add_argument("--quiet", action="store_true", help="one line a frame")
    told.add_argument("--full", action="store_true", help="every finding, number and assumption")
    parser.add_argument(
        "--tolerance-mm",
        type=above_zero("a length above 0 mm"),
        metavar="MM",
        help="how far off teeth may stand (default: the cast's, else 0.5)",
    )
    parser.add_argument(
        "--device",
        metavar="NAME",
        help="device that the performances are shot with (default: the cast's, else not compared)",
    )
    parser.add_argument(
        "--together",
        action="store_true",
        help="several frames of one performer give one offset, with the spread between them",
    )
    parser.add_argument(
        "--cast",
        metavar="CAST",
        help="cast file to take device tables, tolerance and performance device from",
    )


def run(args: argparse.Namespace) -> int:
    """Check each frame in turn; a bad one is told and the rest are still done."""
    _spare_the_collector()
    settings = _settings(args)
    paths = [Path(name) for name in args.frames]
    _refuse_doubles(paths, settings)
    for folder in (settings.out, settings.plots):
        if folder is not None:
            make_folder(folder, "name a folder that may be written")
    if args.together:
        from bite.cli.check_together import run_together

        return run_together(
            paths,
            devices=settings.devices,
            tolerance_mm=settings.tolerance_mm,
            performance_device=settings.performance_device,
            out=settings.out,
            plots=settings.plots,
            as_json=args.json,
            quiet=args.quiet,
        )
    verdicts: list[Verdict] = []
    results: list[str] = []
    bad_inputs = faults = 0
    for number, path in enumerate(paths):
        if number:
            gc.collect()
        try:
            with Waiting(f"checking {path.name}"):
                done = _check(path, settings)
        except BiteError as error:
            tell_bad_input(error, path)
            bad_inputs += 1
            continue
        except Exception as error:
            tell_fault(error)
            faults += 1
            continue
        verdicts.append(done.assessment.decision.verdict)
        results.append(done.result)
        if not args.json:
            _print(done, quiet=args.quiet, full=args.full, apart=len(verdicts) > 1)
    if args.json and (results or len(paths) > 1):
        _print_json(results, several=len(paths) > 1)
    return exit_for(verdicts, bad_inputs=bad_inputs, faults=faults)


def _spare_the_collector() -> None:
    """Look for lost cycles of objects seldom within a frame, and not at all when the process ends.

    Libraries and one frame are 200,000 objects that all stay: walking through them again and again is a
    fifteenth of a check. Between frames it is done once: figures are cycles, and would pile up.
    """
    gc.set_threshold(_OBJECTS_BETWEEN_COLLECTIONS)
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


def _settings(args: argparse.Namespace) -> _Settings:
    from bite.check.decision import TOLERANCE_MM

    devices, tolerance_mm, performance_device = None, TOLERANCE_MM, None
    if args.cast is not None:
        from bite.files.cast import read_cast

        cast = read_cast(Path(args.cast))
        devices, tolerance_mm, performance_device = cast.devices, cast.tolerance_mm, cast.performance_device
    return _Settings(
        devices,
        tolerance_mm if args.tolerance_mm is None else args.tolerance_mm,
        args.device or performance_device,
        None if args.out is None else Path(args.out),
        None if args.plots is None else Path(args.plots),
    )


def _refuse_doubles(paths: list[Path], settings: _Settings) -> None:
    """Refuse two frames of one name for one folder before anything is written."""
    from bite.files.frame import read_frame_file

    if len(paths) == 1:
        return
    taken: dict[tuple[Path, str], Path] = {}
    for number, path in enumerate(paths):
        if path in paths[:number]:
            raise InputError(path, "", "is named twice", "name each frame once")
        try:
            name = read_frame_file(path).name
        except BiteError:
            continue  # told when its turn comes
        for folder in {settings.out or path.parent, settings.plots or path.parent}:
            key = (folder.resolve(), name.casefold())
            first = taken.setdefault(key, path)
            if first is not path:
                what = f"{name!r} is also the name of {first}, and both would be written into {folder}"
                mend = "rename one, or check them apart, each with its own --out"
                raise InputError(path, "name", what, mend)


def _check(path: Path, settings: _Settings) -> _Done:
    """Check one frame and save all its files, or none."""
    from bite.check.page_file import page_png
    from bite.check.result import result_mapping
    from bite.check.single_panels import blinking, panel_figures
    from bite.check.solved_looks import solved_looks
    from bite.check.steps import check_frame
    from bite.cli.frame_path import require_frame_file
    from bite.files.atomic import write_together
    from bite.files.bundle import load_frame
    from bite.files.result import result_text
    from bite.plots.library import load_for_drawing
    from bite.plots.saving import figure_bytes

    load_for_drawing()
    frame = load_frame(require_frame_file(path), devices=settings.devices)
    assessment = check_frame(
        frame, tolerance_mm=settings.tolerance_mm, performance_device=settings.performance_device
    )
    result = result_text(result_mapping(assessment))
    folder = settings.out or path.parent
    looks = solved_looks(assessment)
    picture = folder / f"{frame.name}.before-after.png"
    files = {picture: page_png(assessment, looks)}
    if settings.plots is not None:
        for panel, figure in panel_figures(assessment, looks).items():
            files[settings.plots / f"{frame.name}.{panel}.png"] = figure_bytes(figure)
        for panel, animated in blinking(assessment, looks).items():
            files[settings.plots / f"{frame.name}.{panel}.png"] = animated
    # last of all: whoever finds a new result finds its pictures too
    files[folder / f"{frame.name}.result.json"] = result.encode()
    write_together(files)
    return _Done(assessment, result, picture)


def _print(done: _Done, *, quiet: bool, full: bool, apart: bool) -> None:
    from bite.check.brief import brief
    from bite.check.text import one_line, summary

    if quiet:
        print(one_line(done.assessment), flush=True)
        return
    text = summary(done.assessment) if full else brief(done.assessment, done.picture)
    print(("\n" if apart else "") + text, end="", flush=True)


def _print_json(results: list[str], *, several: bool) -> None:
    text = "[\n" + ",\n".join(result.rstrip("\n") for result in results) + "\n]\n" if several else results[0]
    print_file(text)
