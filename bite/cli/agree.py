"""`bite agree`: how well repeated clicks of one picture agree."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit
from bite.cli.numbers import above_zero
from bite.cli.out_folder import make_folder
from bite.cli.streams import tell
from bite.errors import InputError

if TYPE_CHECKING:
    from bite.files.corners import Corners

_FOOT = """\
The files are passes over the same picture, by one person or several. Writes NAME.agreement.png beside the
first file, NAME being that file's. exit codes: 0 compared, 1 nothing to compare, 2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "agree",
        help="compare repeated clicks of one picture",
        description="Say how far repeated clicks scatter, and which sigma_px that suggests.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("corners", nargs="+", metavar="CORNERS", help="corner files, two or more")
    scale = parser.add_mutually_exclusive_group()
    scale.add_argument(
        "--px-per-mm",
        type=above_zero("pixels per mm above 0"),
        metavar="N",
        help="scale on the teeth, to give mm beside px",
    )
    scale.add_argument(
        "--frame", metavar="FRAME", help="bite frame with camera and depth, to find that scale"
    )
    parser.add_argument(
        "--out", metavar="DIR", help="folder for the picture (default: beside the first file)"
    )


def run(args: argparse.Namespace) -> int:
    """Compare the passes."""
    from bite.agree.repeat_clicks import item_scatter, kind_scatter, odd_clicks, pair_agreement
    from bite.agree.told import Agreement, agreement_figure, agreement_text, state_disputes
    from bite.files.corners import read_corners
    from bite.plots.saving import save_figure

    paths = [Path(name) for name in args.corners]
    if len(paths) < 2:
        raise InputError(
            paths[0], "", "is one pass, needed two or more", "name the other passes' corner files too"
        )
    for number, path in enumerate(paths):
        if path.resolve() in {other.resolve() for other in paths[:number]}:
            raise InputError(path, "", "is named twice, and agrees with itself", "name each pass once")
    passes = [read_corners(path) for path in paths]
    _same_picture(passes)
    places = [_places(corners) for corners in passes]
    covered = [frozenset(c for c, p in corners.points.items() if p.state == "covered") for corners in passes]
    names = _pass_names(passes)
    items = item_scatter(places, covered)
    found = Agreement(
        names,
        items,
        kind_scatter(items),
        pair_agreement(places, covered),
        _px_per_mm(args, passes[0]),
        state_disputes(names, [{c: str(p.state) for c, p in corners.points.items()} for corners in passes]),
        odd_clicks(items),
    )
    print(agreement_text(found), end="")
    if not items:
        return int(Exit.PERSON)
    folder = paths[0].parent if args.out is None else Path(args.out)
    make_folder(folder)
    stem = paths[0].name.removesuffix(".json").removesuffix(".corners")
    picture = folder / f"{stem}.agreement.png"
    save_figure(agreement_figure(found), picture)
    tell(f"picture: {picture}")
    return int(Exit.FINE)


def _places(corners: Corners) -> dict[str, tuple[float, float]]:
    found = {
        code: (point.x_px, point.y_px)
        for code, point in corners.points.items()
        if point.state != "hidden" and point.x_px is not None and point.y_px is not None
    }
    return found | {name: (mark.x_px, mark.y_px) for name, mark in corners.landmarks.items()}


def _same_picture(passes: list[Corners]) -> None:
    first = passes[0]
    for other in passes[1:]:
        if (other.width_px, other.height_px) != (first.width_px, first.height_px):
            what = (
                f"clicked in {other.width_px} x {other.height_px} pixels, "
                f"{first.path.name} in {first.width_px} x {first.height_px}"
            )
            raise InputError(other.path, "image", what, "compare passes over one picture")
        if other.image_file != first.image_file:
            what = f"clicked in {other.image_file}, {first.path.name} in {first.image_file}"
            tell(f"{other.path}: {what}: taken as the same picture")


def _pass_names(passes: list[Corners]) -> tuple[str, ...]:
    """Name passes by who clicked, else by file, with a number where that is not unique."""
    base = [corners.annotator or corners.path.name.removesuffix(".json") for corners in passes]
    return tuple(
        name if base.count(name) == 1 else f"{name} {base[: k + 1].count(name)}"
        for k, name in enumerate(base)
    )


def _px_per_mm(args: argparse.Namespace, corners: Corners) -> float | None:
    if args.frame is None:
        return None if args.px_per_mm is None else float(args.px_per_mm)
    import numpy as np

    from bite.cli.frame_path import require_frame_file
    from bite.evidence.clicks.click_depth import read_click_depth
    from bite.files.bundle import load_frame

    frame = load_frame(require_frame_file(args.frame), with_corners=False)
    view = frame.views[0]
    size = (view.image.shape[1], view.image.shape[0])
    if size != (corners.width_px, corners.height_px):
        clicked = f"{corners.width_px} x {corners.height_px}"
        what = f"its picture is {size[0]} x {size[1]}, the clicks were made in {clicked}"
        raise InputError(frame.file.path, "", what, "name the frame of the clicked picture")
    if frame.depth_map is None:
        raise InputError(frame.file.path, "[depth]", "no depth map, so no scale", "give --px-per-mm instead")
    teeth = [place for name, place in _places(corners).items() if name[0].isdigit()]
    if not teeth:
        raise InputError(corners.path, "points", "no corner with a place", "give --px-per-mm instead")
    read = read_click_depth(frame, np.mean(np.array(teeth, float), axis=0))
    if read.depth_mm is None:
        what = "no depth reading where the teeth were clicked"
        raise InputError(frame.file.path, "[depth]", what, "give --px-per-mm instead")
    return view.camera.focal_px / read.depth_mm
