"""`bite cast`: every bite frame of a cast, and one page to read over coffee."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit, exit_for
from bite.cli.numbers import whole
from bite.cli.out_folder import make_folder
from bite.cli.streams import FrameBar, print_file, tell

if TYPE_CHECKING:
    from bite.cast.content import CastContent, FailedFrame, FrameRow

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
    parser.add_argument(
        "--jobs",
        type=whole("a count", least=1, most=1024),
        metavar="N",
        help="processes (default: all cores)",
    )
    parser.add_argument("--json", action="store_true", help="cast.json to stdout, nothing else there")
    parser.add_argument(
        "--learn-device",
        metavar="FILE",
        help="write the enamel bias that would explain a shift of all to a new file",
    )


def run(args: argparse.Namespace) -> int:
    """Run the cast, write its page, say what needs a person."""
    from bite.cast.run import cast_content, frames_of, run_frames
    from bite.cast.runner.settings import CastSettings
    from bite.cast.runner.workers import available_cores
    from bite.files.cast import read_cast

    cast = read_cast(Path(args.cast))
    out = None if args.out is None else Path(args.out)
    folder = out or cast.path.parent
    settings = CastSettings(
        cast.tolerance_mm, cast.performance_device, cast.devices, cast.path.parent, out, folder / ".bite-cast"
    )
    make_folder(settings.pictures)
    listed = frames_of(cast, settings)
    with FrameBar(len(listed.frames), stays=True) as bar:

        def told(outcome: FrameRow | FailedFrame) -> None:
            if line := getattr(outcome, "line", ""):
                bar.tell(line)
            bar.count(1)

        found = run_frames(listed, settings, jobs=args.jobs or available_cores(), told=told)
    content = cast_content(cast, found, settings)
    text = _write(content, folder)
    if args.learn_device is not None:
        _learn(content, Path(args.learn_device))
    if args.json:
        print_file(text)
    else:
        _tell(content, folder)
    faults = sum(f.kind == "fault of the program" for f in content.failures)
    from bite.check.finding import Severity

    code = exit_for(
        (row.verdict for row in content.rows), bad_inputs=len(content.failures) - faults, faults=faults
    )
    if code is Exit.FINE and any(found.severity is Severity.FAIL for found in content.devices):
        # all frames may be fine alone and wrong together: nobody should type these values yet
        return Exit.PERSON
    return code


def _write(content: CastContent, folder: Path) -> str:
    """Write page, PDF and tables; a page or PDF that was made from the same things stands as it is."""
    from itertools import chain

    from bite.cast.sheets.stands import last_line, made_from, stands
    from bite.cast.sheets.written import cast_csv, cast_json
    from bite.files.atomic import write_bytes, write_pieces, write_together

    text = cast_json(content, folder)
    mark = made_from(text)
    page, paper = folder / "cast.html", folder / "cast.pdf"
    if not stands(page, mark):
        from bite.cast.sheets.page import page_pieces

        write_pieces(page, chain(page_pieces(content, page.parent), [last_line(mark, page.suffix)]))
    if not stands(paper, mark):
        from bite.cast.sheets.pdf import cast_pdf

        write_bytes(paper, cast_pdf(content) + last_line(mark, paper.suffix).encode())
    write_together({folder / "cast.csv": cast_csv(content).encode(), folder / "cast.json": text.encode()})
    return text


def _learn(content: CastContent, path: Path) -> None:
    from bite.cast.compared.learn import known_devices, learned_tables, write_learned

    text = learned_tables(content.devices, known_devices(content.rows))
    if text:
        write_learned(path, text)
    else:
        tell("nothing to learn: no device shows one shift in every performer")


def _tell(content: CastContent, folder: Path) -> None:
    from bite.cast.sheets.told import held, offset_told, typed

    for summary in content.devices:
        if summary.severity in ("warn", "fail"):
            print(f"{summary.text}" + (f" To do: {summary.todo}" if summary.todo else ""))
    for answer in content.answers:
        row = answer.frame
        if row is None:
            print(f"{answer.performer}: NOT CHECKED")
        else:
            dial = f", dial {typed(answer)}" if typed(answer) else ""
            dial = dial or (f", dial {held(answer)} held back" if held(answer) else "")
            # one sign in every terminal's text, and one that all of them can show
            told = f"{row.name}, offset {offset_told(row)}{dial}".replace("±", "+-")
            print(f"{answer.performer}: {row.verdict.upper()} ({told})")
    print(f"{len(content.rows)} frames checked, {len(content.failures)} not; {folder / 'cast.html'}")
