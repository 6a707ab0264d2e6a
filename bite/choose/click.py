"""Which frame of a take somebody has clicked: as named, or as found beside the pictures."""

from __future__ import annotations

from pathlib import Path

from bite.choose.run import Click
from bite.errors import InputError
from bite.files.corners import Corners, CornerState, read_corners
from bite.files.source import is_file, is_folder
from bite.files.take import Take, TakeKind

CARRIED = "carried"
"""Corner files whose annotator starts so come from a tool: nobody clicked there."""
_ENDING = ".corners.json"
_MEND_FRAME = "name it with --frame N, counted from 0"


def frame_number(take: Take, text: str) -> int:
    """Turn ``--frame`` into a frame number: a number from 0, or a picture's file name.

    Raises
    ------
    InputError
        When the take has no such frame.
    """
    named = take.number_of(text)
    if named is not None:
        return named
    last = f"0 to {take.count - 1}" if take.count else "a number from 0"
    if not text.isdecimal():
        what = f"got {text!r}, needed {last} or a picture's name"
        raise InputError(take.path, "--frame", what, "correct it")
    number = int(text[:9])
    if take.count and number >= take.count:
        raise InputError(take.path, "--frame", f"got {number}, needed {last}", "correct it")
    return number


def find_click(
    take: Take, corners: Path | None, frame: int | None, folders: tuple[Path, ...]
) -> tuple[Click | None, list[str]]:
    """Find the clicked frame, and lines about corner files that are not used.

    Parameters
    ----------
    take : Take
    corners : Path or None, the corner file as named
    frame : int or None, the frame as named
    folders : folders in which corner files of a video's stills may lie

    Raises
    ------
    InputError
        When the named corner file cannot be read, or does not say which frame it belongs to.
    """
    if corners is not None:
        read = read_corners(corners)
        number = frame if frame is not None else take.number_of(Path(read.image_file).name)
        if number is None:
            what = f"clicked in {read.image_file}, which is no frame of {take.path.name} by its name"
            raise InputError(corners, "image", what, _MEND_FRAME)
        return Click(number, read), []
    found: list[tuple[int, Corners]] = []
    notes: list[str] = []
    for number, path in _beside(take, folders):
        if frame is not None and number != frame:
            continue
        try:
            read = read_corners(path)
        except InputError as error:
            notes.append(str(error))
            continue
        if not read.annotator.startswith(CARRIED):
            found.append((number, read))
    if not found:
        return None, notes
    found.sort(key=lambda item: (-_seen(item[1]), item[0]))
    number, best = found[0]
    if len(found) > 1:
        others = ", ".join(take.frame_name(n) for n, _ in found[1:4]) + (" ..." if len(found) > 4 else "")
        notes.append(f"corners of {take.frame_name(number)} are carried; those of {others} are not used")
    return Click(number, best), notes


def _seen(corners: Corners) -> int:
    return sum(point.state is not CornerState.HIDDEN for point in corners.points.values())


def _beside(take: Take, folders: tuple[Path, ...]) -> list[tuple[int, Path]]:
    if take.kind is TakeKind.PICTURES:
        paths = [
            (k, picture.with_name(f"{picture.stem}{_ENDING}")) for k, picture in enumerate(take.pictures)
        ]
        return [(k, path) for k, path in paths if is_file(path)]
    found = []
    for folder in dict.fromkeys(folders):
        for path in sorted(folder.glob(f"*{_ENDING}")) if is_folder(folder) else []:
            number = take.number_of(path.name.removesuffix(_ENDING))
            if number is not None:
                found.append((number, path))
    return found
