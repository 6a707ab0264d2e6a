"""`bite opinion`: say what would explain what one bite frame shows, beyond the dial."""

from __future__ import annotations

import argparse
from pathlib import Path

from bite.cli.exits import Exit
from bite.cli.out_folder import make_folder
from bite.cli.streams import Waiting, print_file, tell
from bite.errors import BiteError, InputError

_FOOT = """\
Sees every cause with a solved mesh and a depth map; some with a depth profile, or with corners in two
calibrated views. Writes NAME.opinion.json and NAME.opinion.png beside the frame, NAME being the frame's own
name. exit codes: 0 no difference, or one that the dial mends, 1 something needs a person,
2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "opinion",
        help="ask what would explain what a bite frame shows",
        description="Rank what would explain a bite frame: teeth, rows, lips, head, sensor or lens.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("frame", metavar="FRAME", help="bite frame file, NAME.bite.toml")
    parser.add_argument(
        "--json", action="store_true", help="the JSON file's content to stdout, nothing else there"
    )
    parser.add_argument("--out", metavar="DIR", help="folder for the files (default: beside the frame)")


def run(args: argparse.Namespace) -> int:
    """Ask, tell, save."""
    from bite.cli.frame_path import require_frame_file
    from bite.files.atomic import write_together
    from bite.files.bundle import load_frame
    from bite.files.result import result_text
    from bite.fit.causes import Cause
    from bite.opinion.figure import opinion_figure
    from bite.opinion.steps import opinion_of
    from bite.opinion.told import opinion_mapping, opinion_text
    from bite.plots.library import load_for_drawing
    from bite.plots.saving import figure_bytes

    load_for_drawing()
    path = Path(args.frame)
    frame = load_frame(require_frame_file(path))
    folder = path.parent if args.out is None else Path(args.out)
    make_folder(folder)  # before the work: it takes seconds
    try:
        with Waiting("trying nine causes"):
            opinion = opinion_of(frame)
    except InputError:
        raise
    except BiteError as error:
        raise InputError(
            path, "", f"no opinion can be given: {error}", "let bite check say what is missing"
        ) from error
    text = result_text(opinion_mapping(opinion))
    picture = folder / f"{frame.name}.opinion.png"
    write_together(
        {
            folder / f"{frame.name}.opinion.json": text.encode(),
            picture: figure_bytes(opinion_figure(opinion)),
        }
    )
    if args.json:
        print_file(text)
    else:
        print(opinion_text(opinion), end="")
    tell(f"picture: {picture}")
    mended = opinion.best in ((), (Cause.FORWARD,)) and not opinion.conclusion.startswith("cannot tell")
    if opinion.best and opinion.refused:
        mended = False  # the dial would mend it, and no value is advised
    return int(Exit.FINE if mended else Exit.PERSON)
