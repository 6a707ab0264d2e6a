"""`bite device`: measure what a depth sensor does, on a flat card held before a wall."""

from __future__ import annotations

import argparse
from pathlib import Path

from bite.cli.exits import Exit
from bite.cli.out_folder import make_folder
from bite.cli.streams import print_file, tell

_FOOT = """\
A card file is an ordinary bite frame file with a [[view]] and a [depth] map, and no [solved]. Hold a flat,
stiff, matt card with a straight edge well before a wall, turned about 5 degrees against the rows and columns
of the map; two cards at different distances are better than one.
Prints what was found and the [device.NAME] table; --write puts that table into a device or cast file and
leaves the rest of it alone. How deep the sensor sees enamel is not in it: a card has no enamel.
exit codes: 0 measured, 2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "device",
        help="measure a depth sensor's smoothing, filter and noise",
        description="Measure how a depth sensor smooths, and its noise, from depth maps of a flat card.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("cards", nargs="+", metavar="CARD", help="bite frame file of a card before a wall")
    parser.add_argument("--write", metavar="FILE", help="device or cast file to put the table into")
    parser.add_argument("--out", metavar="DIR", help="folder for the picture (default: no picture)")
    parser.add_argument(
        "--plots", metavar="DIR", help="folder for each panel of the picture as one of its own"
    )
    parser.add_argument("--json", action="store_true", help="the result as JSON to stdout, nothing else")


def run(args: argparse.Namespace) -> int:
    """Measure, tell, save."""
    from bite import __version__
    from bite.device.figure import device_figure, panel_figures
    from bite.device.measured import measure_device
    from bite.device.told import device_mapping, device_text, note, toml_lines
    from bite.files.atomic import write_together
    from bite.files.bundle import load_frame
    from bite.files.device_table import table_text, write_device_table
    from bite.files.result import result_text
    from bite.plots.saving import figure_bytes

    frames = [load_frame(path, with_corners=False) for path in args.cards]
    found = measure_device(frames)
    pictures = {}
    if args.out is not None:
        make_folder(Path(args.out))
        pictures[Path(args.out) / f"{found.device}.device.png"] = figure_bytes(device_figure(found))
    if args.plots is not None:
        make_folder(Path(args.plots), "name a folder that may be written with --plots")
        for name, figure in panel_figures(found).items():
            pictures[Path(args.plots) / f"{found.device}.{name}.png"] = figure_bytes(figure)
    if pictures:
        write_together(pictures)
    if args.write is not None:
        write_device_table(Path(args.write), found.device, note(found), toml_lines(found))
    if args.json:
        hashes = {f"{frame.name}/{key}": value for frame in frames for key, value in frame.hashes.items()}
        print_file(result_text(device_mapping(found, hashes, __version__)))
    else:
        print(device_text(found), end="")
        if args.write is None:
            print()
            print(table_text(found.device, note(found), toml_lines(found)), end="")
    for path in pictures:
        tell(f"picture: {path}")
    if args.write is not None:
        tell(f"{args.write}: [device.{found.device}] was written")
    return int(Exit.FINE)
