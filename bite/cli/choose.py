"""`bite choose`: rank the frames of a take as bite frames."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit
from bite.cli.numbers import above_zero, whole
from bite.cli.out_folder import make_folder
from bite.cli.streams import FrameBar, print_file, tell
from bite.errors import InputError
from bite.files.source import stands

if TYPE_CHECKING:
    from bite.choose.content import Chosen
    from bite.choose.measure import DepthUnit
    from bite.choose.run import Click
    from bite.files.take import Take

_FOOT = """\
Click one frame once (--annotate, or bite annotate on a still of it): its corners are then carried to all
others, and each frame is told by the sd of the offset that it could give, and by what speaks against it.
Writes TAKE.choose.json and TAKE.choose.png beside the take or into --out. Frames are counted from 0.
exit codes: 0 a frame is fit, 1 none is, or nobody has clicked yet, 2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "choose",
        help="rank the frames of a take as bite frames",
        description="Rank the frames of a take by what they would give as bite frames.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("take", metavar="TAKE", help="a video, or a folder of pictures with or without depth")
    parser.add_argument("--corners", metavar="FILE", help="corner file of the clicked frame")
    parser.add_argument("--frame", metavar="N", help="the clicked frame: its number from 0, or its picture")
    parser.add_argument("--annotate", action="store_true", help="open the window to click --frame, then rank")
    parser.add_argument(
        "--best",
        type=whole("a count", least=1, most=1000),
        default=6,
        metavar="N",
        help="how many to show and write (6)",
    )
    parser.add_argument("--write", action="store_true", help="write frame files, stills and carried corners")
    parser.add_argument("--out", metavar="DIR", help="folder for what is written (default: beside TAKE)")
    parser.add_argument(
        "--unit-mm",
        type=above_zero("mm above 0"),
        metavar="MM",
        help="mm per stored unit of the depth maps",
    )
    parser.add_argument("--no-depth", action="store_true", help="leave depth maps alone")
    told = parser.add_mutually_exclusive_group()
    told.add_argument("--json", action="store_true", help="the numbers to stdout, nothing else there")
    told.add_argument("--quiet", action="store_true", help="one line")


def run(args: argparse.Namespace) -> int:
    """Rank the take, write what was found, say which frame to take."""
    from bite.choose.click import find_click, frame_number
    from bite.choose.run import choose
    from bite.choose.written import chosen_text
    from bite.files.frame import check_file_name
    from bite.files.take import open_take

    take = open_take(Path(args.take))
    check_file_name(take.path, "name", take.name)
    folder = Path(args.out) if args.out is not None else take.path.absolute().parent
    make_folder(folder)
    frame = None if args.frame is None else frame_number(take, args.frame)
    click: Click | None
    notes: list[str] = []
    if args.annotate:
        click = _annotated(take, frame, folder)
    else:
        corners = None if args.corners is None else Path(args.corners)
        folders = (take.path.absolute().parent, folder)
        click, notes = find_click(take, corners, frame, folders)
        if click is None and frame is not None:
            what = f"no corner file for frame {frame} was found"
            raise InputError(
                take.path, "--frame", what, "name it with --corners, or click it with --annotate"
            )
    for note in notes:
        tell(note)
    with FrameBar(_steps(take, click), stays=False) as bar:
        chosen = choose(take, click, unit=_unit(args, take), told=bar.count)
    text = chosen_text(chosen)
    _write(args, take, chosen, text, folder)
    return int(Exit.FINE if chosen.fit else Exit.PERSON)


def _write(args: argparse.Namespace, take: Take, chosen: Chosen, text: str, folder: Path) -> None:
    from bite.choose.sheet import sheet_png
    from bite.choose.text import one_line, table
    from bite.choose.written import write_frames
    from bite.files.atomic import write_together
    from bite.files.take import TakePicture

    best = chosen.ranked[: args.best]
    pictures: dict[int, TakePicture] = {}
    for one in best:
        number = one.measures.number
        for item in take.read(number, number + 1, chosen.marks):
            if isinstance(item, TakePicture):
                pictures[number] = item
    images = {number: picture.image for number, picture in pictures.items()}
    sheet = folder / f"{take.name}.choose.png"
    numbers = folder / f"{take.name}.choose.json"
    write_together({sheet: sheet_png(chosen, best, images, one_line(chosen)), numbers: text.encode()})
    if args.json:
        print_file(text)
    else:
        print(one_line(chosen) if args.quiet else table(chosen, args.best))
    for note in chosen.notes:
        tell(f"note: {note}")
    if args.write:
        written, notes = write_frames(take, chosen, best, pictures, folder, args.unit_mm)
        for path in written:
            tell(f"wrote {path}; next: bite annotate {path}")
        for note in notes:
            tell(f"note: {note}")
        if written and chosen.clicked is not None:
            tell("carried corners are no clicks: look at each in bite annotate before it is used")
    if not args.json and not args.quiet:
        print(f"written: {numbers}, {sheet}")


def _annotated(take: Take, frame: int | None, folder: Path) -> Click:
    """Open the window on one frame, and come back with what was clicked."""
    from datetime import UTC, datetime

    from bite.annotate.opening import open_picture
    from bite.annotate.toolkit.canvas import open_canvas
    from bite.annotate.toolkit.window import Window
    from bite.choose.run import Click, choose
    from bite.choose.written import png_bytes
    from bite.cli.annotate import SIZE_PX, login_name
    from bite.files.atomic import write_bytes
    from bite.files.corners import read_corners
    from bite.files.take import TakePicture

    if frame is None:
        frame = choose(take, None).ranked[0].measures.number
        tell(f"opening frame {frame}, the stillest and sharpest; another one: --frame N")
    item = next(iter(take.read(frame, frame + 1)), None)
    if not isinstance(item, TakePicture):
        raise InputError(take.path, "--frame", f"frame {frame} cannot be read", "name another one")
    image = item.path or folder / f"{take.frame_name(frame)}.png"
    if item.path is None and not stands(image):
        write_bytes(image, png_bytes(item.image))
    bench = open_picture(image, item.image, annotator=login_name(), now=lambda: datetime.now(UTC))
    canvas, run_window, close = open_canvas(f"bite choose: {image.name}", SIZE_PX)
    Window(canvas, bench, close=close)
    try:
        run_window()
    finally:
        bench.finish()
    store = bench.stores[0]
    if not store.status.saved or not stands(store.path):
        why = store.status.why_not or "nothing was clicked"
        raise InputError(store.path, "", f"no corners to carry ({why})", "click 11d and 21d at least")
    return Click(frame, read_corners(store.path))


def _unit(args: argparse.Namespace, take: Take) -> DepthUnit | None:
    """Give the depth maps' unit; an error where there are maps and nobody said what they store."""
    from bite.choose.measure import DepthUnit
    from bite.files.take import depth_beside

    if args.no_depth:
        return None
    first = next((depth for p in take.pictures if (depth := depth_beside(p)) is not None), None)
    if first is None:
        return None
    if args.unit_mm is None:
        what = "a depth map lies beside the pictures, and how many mm its unit is was not said"
        raise InputError(first, "", what, "give --unit-mm, such as --unit-mm 0.1, or --no-depth")
    return DepthUnit(args.unit_mm)


def _steps(take: Take, click: Click | None) -> int:
    return take.count + (0 if click is None else click.number)
