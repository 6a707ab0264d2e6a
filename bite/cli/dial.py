"""`bite dial`: measure which way, how far and how straight a rig's dial moves the teeth."""

from __future__ import annotations

import argparse
from pathlib import Path

from bite.cli.exits import Exit
from bite.cli.numbers import above_zero
from bite.cli.out_folder import make_folder
from bite.cli.streams import print_file, tell

_FOOT = """\
Each export is the neutral pose with nothing but the dial changed; the rig's rest export stands for 0 unless
0=FILE is given. Example: bite dial rig.toml 1.0=plus.obj -1.0=minus.obj
Writes RIG.dial.json and RIG.dial.png beside the rig file. --write also edits the [dial] table of the rig
file, and nothing else in it. exit codes: 0 measured, 1 measured, but the dial itself must be mended,
2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "dial",
        help="measure how a rig's dial moves the teeth",
        description="Measure, from exports at several dial values, how a rig's dial moves the teeth.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("rig", metavar="RIG", help="rig file")
    parser.add_argument(
        "exports",
        nargs="+",
        type=_export,
        metavar="VALUE=EXPORT",
        help="dial value and the mesh exported there",
    )
    parser.add_argument(
        "--unit-mm",
        type=above_zero("mm per unit above 0"),
        metavar="MM",
        help="mm per unit of the exports (default: the rig's)",
    )
    parser.add_argument("--write", action="store_true", help="write what was measured into the rig file")
    parser.add_argument(
        "--json", action="store_true", help="the JSON file's content to stdout, nothing else there"
    )
    parser.add_argument("--out", metavar="DIR", help="folder for the files (default: beside the rig file)")


def run(args: argparse.Namespace) -> int:
    """Measure, tell, save."""
    from bite import __version__
    from bite.dial.exports import follow_rows
    from bite.dial.told import DialReport, dial_figure, dial_mapping, dial_text, toml_lines
    from bite.dial.travel import dial_travel_of
    from bite.files.atomic import write_together
    from bite.files.mesh import read_mesh
    from bite.files.result import result_text
    from bite.files.rig import read_rig
    from bite.files.rig_dial import write_dial
    from bite.files.rig_parts import check_vertex_numbers, part_labels
    from bite.files.rig_teeth import check_teeth
    from bite.files.source import hashes_of_what_is_read, key_beside
    from bite.files.usd import is_usd
    from bite.plots.saving import figure_bytes

    path = Path(args.rig)
    with hashes_of_what_is_read() as read:
        rig = read_rig(path)
        rest = read_mesh(rig.rest, unit_mm=rig.unit_mm, prim=rig.prim, time=rig.time)
        check_vertex_numbers(rest, rig)
        check_teeth(rest, rig, part_labels(rest, rig))
        unit_mm = rig.unit_mm if args.unit_mm is None else args.unit_mm
        exports = [
            (value, file, read_mesh(file, unit_mm=unit_mm, prim=rig.prim if is_usd(file) else None))
            for value, file in args.exports
        ]
    found = dial_travel_of(rig, follow_rows(rig, rest, exports))
    hashes = {key_beside(path, file): read.of(file) for file in (path, rig.rest, *(e[1] for e in exports))}
    written = bool(args.write and found.may_be_written)
    report = DialReport(rig, found, hashes, written, __version__)
    folder = path.parent if args.out is None else Path(args.out)
    make_folder(folder)
    text = result_text(dial_mapping(report))
    picture = folder / f"{path.stem}.dial.png"
    if written:
        write_dial(path, toml_lines(found))
    write_together(
        {folder / f"{path.stem}.dial.json": text.encode(), picture: figure_bytes(dial_figure(report))}
    )
    if args.json:
        print_file(text)
    else:
        print(dial_text(report), end="")
    tell(f"picture: {picture}")
    if args.write and not written:
        tell(f"{path}: [dial] was left as it is: mend the dial first")
    return int(Exit.FINE if found.may_be_written else Exit.PERSON)


def _export(text: str) -> tuple[float, Path]:
    from math import isfinite

    value, equals, file = text.strip().partition("=")
    try:
        number = float(value)
    except ValueError:
        number = float("nan")
    if not (equals and file and isfinite(number)):
        raise argparse.ArgumentTypeError(f"got {text.strip()!r}, needed VALUE=EXPORT such as -1.0=minus.obj")
    return number, Path(file)
