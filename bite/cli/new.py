"""`bite new`: write a bite frame file for a picture."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit
from bite.cli.streams import tell
from bite.files.source import stands

if TYPE_CHECKING:
    from bite.files.frame_draft import Blank

_FOOT = """\
Camera, depth map, solved mesh, rig and device table are found beside the picture by their names:
IMAGE.camera.yaml, IMAGE.depth.png, IMAGE.solved.obj (or solved.obj), rig.toml, NAME.device.toml. A second
picture whose own camera file has rotation and translation_mm becomes the second view of a pair. On a
terminal the rest is asked for; otherwise it is left as lines marked FILL IN. A file that is there is never
written over. exit codes: 0 the frame is complete, 1 lines marked FILL IN are left, 2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "new",
        help="write a bite frame file beside a picture",
        description="Write a commented bite frame file for a picture.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("image", metavar="IMAGE", help="the picture, a PNG, JPEG, TIFF or HEIF file")
    parser.add_argument("--name", metavar="NAME", help="the frame's own name (default: the picture's)")
    parser.add_argument("--no-questions", action="store_true", help="leave blanks without asking")


def run(args: argparse.Namespace) -> int:
    """Look around the picture, ask for the rest, write the file."""
    from bite.files.beside import look_beside, stands_aside
    from bite.files.frame import check_file_name
    from bite.files.frame_draft import (
        blanks_of,
        frame_path_for,
        frame_text,
        write_new,
    )
    from bite.files.heif import is_heif, read_heif, take_apart
    from bite.files.jpeg_pictures import further_pictures
    from bite.files.picture_header import read_header
    from bite.files.source import read_bytes

    image = Path(args.image)
    name = image.stem if args.name is None else args.name
    check_file_name(image, "--name", name)
    path = frame_path_for(image, name)
    if stands(path):
        write_new(path, "")
    depth = None
    if is_heif(image):
        picture = read_heif(image)
        image, told = take_apart(image, picture, name)
        depth = picture.depth
        for line in told:
            tell(line)
    else:
        data = read_bytes(image)
        read_header(image, data)
        if more := further_pictures(data):
            tell(
                f"{image.name}: holds more pictures ({more}) that are not read; if one is its "
                "depth: no open standard says how a JPEG codes distance; export it as HEIC, or as its own map"
            )
    beside = look_beside(image)
    if depth is not None:
        doubt = _doubt(depth.accuracy)
        beside = replace(beside, inverse_per_m=depth.inverse_per_m, depth_doubt=doubt)
    for doubt in beside.doubtful:
        tell(f"{doubt}; none is named")
    if beside.camera is not None and stands_aside(beside.camera):
        tell(
            f"{beside.camera.name} places this camera beside another one, the reference: start from that "
            "one's picture"
        )
    blanks = blanks_of(beside)
    ask = sys.stdin.isatty() and sys.stderr.isatty() and not args.no_questions
    answers = _asked(blanks) if ask else {}
    write_new(path, frame_text(image, name, beside, answers))
    print(path)
    left = [blank.key for blank in blanks if blank.key not in answers]
    if left:
        tell(f"{path.name}: lines marked FILL IN are left: {', '.join(left)}")
        return int(Exit.PERSON)
    return _looked_over(path)


def _doubt(accuracy: str) -> str:
    """Say why a phone's depth is left out of the frame until somebody knows better."""
    if accuracy == "absolute":
        return ""
    if accuracy == "relative":
        return "left out: the file calls this depth relative, and relative depth never gives an offset"
    return "left out: the file does not say that this depth is absolute; try it on a known distance first"


def _asked(blanks: Sequence[Blank]) -> dict[str, str]:
    tell("Enter alone leaves a line to be filled in later.")
    answers: dict[str, str] = {}
    for blank in blanks:
        while True:
            print(f"{blank.question} Such as {blank.example}: ", end="", file=sys.stderr, flush=True)
            line = sys.stdin.readline()
            if not line:
                return answers
            if not line.strip():
                break
            value = blank.written(line)
            if value is not None:
                answers[blank.key] = value
                break
            needed = " or ".join(blank.choices) or ("a number" if blank.is_number else "plain words")
            tell(f"needed {needed}, such as {blank.example}")
    return answers


def _looked_over(path: Path) -> int:
    """Read what was written as every other command will."""
    from bite.errors import InputError
    from bite.files.bundle import load_frame

    try:
        load_frame(path, with_corners=False)
    except InputError as error:
        tell(f"written, but not usable yet: {error}")
        return int(Exit.PERSON)
    tell(f"next: bite annotate {path}")
    return int(Exit.FINE)
