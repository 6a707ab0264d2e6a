"""The mouth of a frame for a cast's page: solved before and after, and a small one for lists.

Above, the photograph with the solved teeth's outlines; below, the solved mouth itself, under the same camera.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bite.files.atomic import write_bytes
from bite.files.source import sha256_of
from bite.plots.drawn_as import drawing_of

if TYPE_CHECKING:
    from bite.check.assessment import Assessment
    from bite.check.solved_looks import Looks
    from bite.evidence.model.solved_mouth import SolvedMouth
    from bite.files.bundle import LoadedView
    from bite.geometry.rigid import Array

WIDTH_PX = 560
"""Width of a mouth on the page (our choice)."""
SMALL_PX = (160, 92)
"""Size of a mouth in a row of the page (our choice)."""
_DRAWN_BY = ("cast/mouth_pictures.py", "evidence/model/outlines.py", "evidence/model/solved_mouth.py")
"""The code that draws them: a picture that other code made is not taken for one of these."""
_ASPECT, _SHARE = 0.58, 0.94
"""Height over width, and the share of the rendered width that is shown: front teeth and lips, and nothing by
which a face is known (our choice)."""
_SPANS = 1.8
"""Half width in spans of the clicked corners where no model gives a scale: centrals span some 17 mm."""
_MOST_BYTES = 22_000
"""Bytes of a picture on the page, of which a frame has a few (our choice)."""
_QUALITIES = (68, 55, 42, 30, 20, 10)
"""JPEG qualities tried until one is small enough (our choice)."""
_ORANGE, _GREEN, _WHITE = (213, 94, 0), (0, 158, 115), (255, 255, 255)
"""Okabe-Ito, as in `plots.style`: solved before, solved after; and the halo."""
_DASH_PX, _SUB = 9.0, 4
"""A dash long enough to be seen as one in a thumbnail; and OpenCV's fractional bits, sixteenths of a
pixel."""
Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class MouthPictures:
    """Pictures on disk; ``after`` is None where no move is advised, ``solved`` false without a mesh."""

    before: Path
    after: Path | None
    small: Path
    width_px: int
    height_px: int
    solved: bool


def saved_mouth(result: bytes, folder: Path) -> MouthPictures | None:
    """Find the pictures that were made for this very result; None where there are none."""
    known = folder / f"{_key(result)}.mouth"
    try:
        width, height, after, solved = known.read_text(encoding="ascii").split()
        found = _named(result, folder, int(width), int(height), after == "after", solved == "solved")
    except (OSError, ValueError):
        return None
    paths = [found.before, found.small, *([found.after] if found.after else [])]
    return found if all(path.is_file() for path in paths) else None


def mouth_of(
    assessment: Assessment, looks: Mapping[str, Looks], result: bytes, folder: Path
) -> MouthPictures | None:
    """Draw a checked frame's mouth, as it was rendered for its own picture.

    None where nothing says where in the picture it is.
    """
    view = assessment.frame.views[0]
    look = looks.get(view.name)
    mouths = () if look is None else (look.before,) if look.after is None else (look.before, look.after)
    return _drawn(view, mouths, result, folder)


def mouth_of_result(
    path: Path, content: Mapping[str, Any], result: bytes, folder: Path
) -> MouthPictures | None:
    """Draw the mouth of a frame that was checked before, from what its result says; no fit is made.

    Raises
    ------
    BiteError
        When the frame's files cannot be read.
    """
    from bite.check.decision import Verdict
    from bite.check.sections import before_and_after
    from bite.check.solved_looks import LEAST_MOVE_MM
    from bite.evidence.depth.coarse_place import where_a_fit_starts
    from bite.evidence.model.head import solved_head
    from bite.evidence.model.solved_mouth import solved_mouths
    from bite.files.bundle import load_frame

    frame = load_frame(path)
    view = frame.views[0]
    solved, _ = where_a_fit_starts(frame, solved_head(frame))
    if solved is None or not solved.has_surface:
        return _drawn(view, (), result, folder)
    fit, decision = content["fit"], content["decision"]
    placed = _parameters({} if fit is None else fit["parameters"])
    moved_mm = float(content["moved_mm"] or 0.0)
    before, after = before_and_after(placed, moved_mm)
    moves = decision["verdict"] in (Verdict.MOVE, Verdict.BEYOND) or decision["dial_advised"]
    shown = (before, after) if fit is not None and moves and abs(moved_mm) >= LEAST_MOVE_MM else (before,)
    return _drawn(view, solved_mouths(view.camera, solved.head, *shown), result, folder)


def _parameters(told: Mapping[str, Any]) -> Array:
    from bite.fit.parameters import COUNT, P

    found = np.zeros(COUNT)
    for p in P:
        if p.name.lower() in told:
            found[p] = float(told[p.name.lower()]["value"] or 0.0)
    return found


def _drawn(
    view: LoadedView, mouths: Sequence[SolvedMouth], result: bytes, folder: Path
) -> MouthPictures | None:
    box = _box(view, mouths)
    if box is None:
        return None
    photograph = _cut(view.image, box)
    solved = bool(mouths)
    sheets = [_sheet(photograph, box, m, look) for m, look in zip(mouths, _LOOKS, strict=False)]
    sheets = sheets or [_scaled(photograph, WIDTH_PX)]
    height, width = sheets[0].shape[:2]
    found = _named(result, folder, width, height, len(sheets) > 1, solved)
    write_bytes(found.before, _encoded(sheets[0]))
    if found.after is not None:
        write_bytes(found.after, _encoded(sheets[1]))
    write_bytes(found.small, _encoded(_small(photograph)))
    words = "after" if found.after else "alone", "solved" if solved else "photograph"
    write_bytes(folder / f"{_key(result)}.mouth", f"{width} {height} {words[0]} {words[1]}".encode())
    return found


def _key(result: bytes) -> str:
    return f"{sha256_of(result)[7:39]}-{drawing_of(*_DRAWN_BY)}"


def _named(
    result: bytes, folder: Path, width: int, height: int, after: bool, solved: bool
) -> MouthPictures:
    before, later, small = (folder / f"{_key(result)}-{word}.webp" for word in ("before", "after", "small"))
    return MouthPictures(before, later if after else None, small, width, height, solved)


def _box(view: LoadedView, mouths: Sequence[SolvedMouth]) -> tuple[int, int, int, int] | None:
    """Give left, top, width and height of what is shown, px of the photograph, within it."""
    if mouths:
        window = mouths[0].window
        wide = round(_SHARE * window.width)
        high = min(round(_ASPECT * wide), window.height)
        left, top = (window.width - wide) // 2, (window.height - high) // 2
        return window.left + left, window.top + top, wide, high
    if view.corners is None:
        return None
    placed = [
        (point.x_px, point.y_px)
        for point in view.corners.points.values()
        if point.x_px is not None and point.y_px is not None
    ]
    if not placed:
        return None
    at = np.array(placed, dtype=float)
    half = _SPANS * max(float(np.ptp(at[:, 0])), 12.0) * np.array([1.0, _ASPECT])
    size = np.array(view.image.shape[1::-1])
    low = np.clip(np.floor(at.mean(0) - half), 0, size - 2).astype(int)
    high = np.clip(np.ceil(at.mean(0) + half), low + 2, size).astype(int)
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])


def _cut(image: Picture, box: tuple[int, int, int, int]) -> Picture:
    left, top, width, height = box
    return np.ascontiguousarray(image[top : top + height, left : left + width])


@dataclass(frozen=True, slots=True)
class _LineLook:
    colour: tuple[int, int, int]
    dashed: bool


_LOOKS = (_LineLook(_ORANGE, dashed=True), _LineLook(_GREEN, dashed=False))


def _sheet(
    photograph: Picture, box: tuple[int, int, int, int], mouth: SolvedMouth, look: _LineLook
) -> Picture:
    """Put the photograph with outlines above the solved mouth."""
    from bite.evidence.model.outlines import Rim

    above = _scaled(photograph, WIDTH_PX)
    scale = above.shape[1] / photograph.shape[1]
    for rims, width in (((Rim.LIP,), 1), ((Rim.UPPER, Rim.LOWER, Rim.GUM), 2)):
        lines = [(line - (box[0], box[1]) + 0.5) * scale - 0.5 for line in mouth.lines(*rims)]
        _draw_lines(above, lines, look, width)
    cover = mouth.cover[..., None]
    clay = np.round(cover * mouth.shaded + (1.0 - cover) * 96.0).astype(np.uint8)
    clay = _cut(clay, (box[0] - mouth.window.left, box[1] - mouth.window.top, box[2], box[3]))
    return np.concatenate([above, _scaled(clay, WIDTH_PX)[: above.shape[0]]])


def _draw_lines(image: Picture, lines: list[Array], look: _LineLook, width_px: int) -> None:
    """Draw lines; wider ones get a light rim, all rims first, so that none covers another line."""
    import cv2

    pieces = [piece for line in lines for piece in (_dashes(line) if look.dashed else [line])]
    halo = [(width_px + 2, _WHITE)] if width_px > 1 else []
    for width, colour in (*halo, (width_px, look.colour)):
        for piece in pieces:
            places = np.round(piece * 2**_SUB).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(image, [places], False, colour, width, cv2.LINE_AA, _SUB)


def _dashes(line: Array) -> list[Array]:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    number = np.floor(along / _DASH_PX).astype(int)
    pieces = [line[number == k] for k in range(0, int(number.max()) + 1, 2)]
    return [piece for piece in pieces if len(piece) > 1]


def _scaled(image: Picture, width: int) -> Picture:
    import cv2

    height = max(1, round(image.shape[0] * width / image.shape[1]))
    how = cv2.INTER_AREA if width < image.shape[1] else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(image, (width, height), interpolation=how), np.uint8)


def _small(photograph: Picture) -> Picture:
    """Give the thumbnail: all of the same size, cut at the sides or above and below."""
    wide, high = SMALL_PX
    height, width = photograph.shape[:2]
    if width * high > height * wide:
        keep = max(1, round(height * wide / high))
        start = (width - keep) // 2
        photograph = photograph[:, start : start + keep]
    else:
        keep = max(1, round(width * high / wide))
        start = (height - keep) // 2
        photograph = photograph[start : start + keep]
    import cv2

    return np.asarray(cv2.resize(photograph, SMALL_PX, interpolation=cv2.INTER_AREA), np.uint8)


def _encoded(image: Picture) -> bytes:
    import cv2

    bgr = cv2.cvtColor(image, cv2.COLOR_RGB2BGR)
    for quality in _QUALITIES:
        done, coded = cv2.imencode(".webp", bgr, [cv2.IMWRITE_WEBP_QUALITY, quality])
        if done and coded.nbytes <= _MOST_BYTES:
            break
    return bytes(coded)
