"""`bite cast`: every bite frame of a cast, and one page to read over coffee."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bite.cli.exits import exit_for
from bite.errors import InputError

if TYPE_CHECKING:
    from bite.report.cast_content import CastContent, FailedFrame, FrameRow

_FOOT = """\
Writes cast.html, cast.pdf, cast.csv and cast.json beside CAST or into --out. Results that hold (same inputs,
version and settings) are taken as they are, whoever wrote them: a second run does only what changed.
exit codes: 0 all leave, move or usable, 1 something needs a person, 2 bad input (the others are done)."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "cast",
        help="check every frame of a cast, and write one page",
        description="Check every bite frame of a cast over all cores, and write one page, worst first.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("cast", metavar="CAST", help="cast file")
    parser.add_argument("--out", metavar="DIR", help="folder for results and page (default: beside each)")
    parser.add_argument("--jobs", type=_count, metavar="N", help="processes (default: all cores)")
    parser.add_argument("--json", action="store_true", help="cast.json to stdout, nothing else there")
    parser.add_argument(
        "--learn-device",
        metavar="FILE",
        help="write the enamel bias that would explain a shift of all to a new file",
    )


def run(args: argparse.Namespace) -> int:
    """Run the cast, write its page, say what needs a person."""
    from bite.cast.run import cast_content, frames_of, run_frames
    from bite.cast.settings import CastSettings
    from bite.cast.workers import available_cores
    from bite.files.cast import read_cast

    cast = read_cast(Path(args.cast))
    out = None if args.out is None else Path(args.out)
    folder = out or cast.path.parent
    settings = CastSettings(
        cast.tolerance_mm, cast.performance_device, cast.devices, cast.path.parent, out, folder / ".bite-cast"
    )
    _make_folder(settings.pictures)
    listed = frames_of(cast, settings)
    progress = _Progress(len(listed.frames))
    try:
        found = run_frames(listed, settings, jobs=args.jobs or available_cores(), told=progress.told)
    finally:
        progress.close()
    content = cast_content(cast, found, settings)
    text = _write(content, folder)
    if args.learn_device is not None:
        _learn(content, Path(args.learn_device))
    if args.json:
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode())
        sys.stdout.buffer.flush()
    else:
        _tell(content, folder)
    faults = sum(f.kind == "fault of the program" for f in content.failures)
    return exit_for(
        (row.verdict for row in content.rows), bad_inputs=len(content.failures) - faults, faults=faults
    )


class _Progress:
    """A bar with the time left where stderr is a terminal; a line for each failure everywhere."""

    def __init__(self, total: int) -> None:
        self._bar: Any = None
        if sys.stderr.isatty():
            from tqdm import tqdm

            self._bar = tqdm(total=total, unit="frame", file=sys.stderr, dynamic_ncols=True)

    def told(self, outcome: FrameRow | FailedFrame) -> None:
        """Count a frame; write its line where it failed."""
        line = getattr(outcome, "line", "")
        if line and self._bar is not None:
            self._bar.write(line, file=sys.stderr)
        elif line:
            print(line, file=sys.stderr, flush=True)
        if self._bar is not None:
            self._bar.update(1)

    def close(self) -> None:
        """End the bar."""
        if self._bar is not None:
            self._bar.close()


def _write(content: CastContent, folder: Path) -> str:
    """Write page, PDF and tables; a page or PDF that was made from the same things stands as it is."""
    from itertools import chain

    from bite.cast.stands import last_line, made_from, stands
    from bite.cast.written import cast_csv, cast_json
    from bite.files.atomic import write_bytes, write_pieces, write_together

    text = cast_json(content, folder)
    mark = made_from(text)
    page, paper = folder / "cast.html", folder / "cast.pdf"
    if not stands(page, mark):
        from bite.report.page import page_pieces

        write_pieces(page, chain(page_pieces(content), [last_line(mark, page.suffix)]))
    if not stands(paper, mark):
        from bite.report.cast_pdf import cast_pdf

        write_bytes(paper, cast_pdf(content) + last_line(mark, paper.suffix).encode())
    write_together({folder / "cast.csv": cast_csv(content).encode(), folder / "cast.json": text.encode()})
    return text


def _learn(content: CastContent, path: Path) -> None:
    from bite.cast.learn import known_devices, learned_tables, write_learned

    text = learned_tables(content.devices, known_devices(content.rows))
    if text:
        write_learned(path, text)
    else:
        print("nothing to learn: no device shows one shift in every performer", file=sys.stderr)


def _tell(content: CastContent, folder: Path) -> None:
    from bite.report.page import dial_text, offset_told

    for summary in content.devices:
        if summary.severity in ("warn", "fail"):
            print(f"{summary.text}" + (f" To do: {summary.todo}" if summary.todo else ""))
    for answer in content.answers:
        row = answer.frame
        if row is None:
            print(f"{answer.performer}: NOT CHECKED")
        else:
            dial = f", dial {dial_text(row)}" if dial_text(row) else ""
            print(f"{answer.performer}: {row.verdict.upper()} ({row.name}, offset {offset_told(row)}{dial})")
    print(f"{len(content.rows)} frames checked, {len(content.failures)} not; {folder / 'cast.html'}")


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError(f"got {text!r}, needed a count from 1 to 1024")
    return int(text)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        what = f"cannot be made a folder ({reason})"
        raise InputError(folder, "", what, "name a folder that may be written with --out") from None
