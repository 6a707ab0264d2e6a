"""Hold the best frames of a take against each other: in which of them does the jaw stand lower."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from bite.choose.content import Measures, Ranked, Standing
from bite.choose.jaw_compare import LEAST_LIKENESS, LowerFace, jaw_drop, lower_face, same_smile
from bite.choose.judge import LowerJaw, rank
from bite.errors import DegenerateGeometryError
from bite.evidence.clicks.tooth_row import tooth_row_from_corners
from bite.files.corners import CornerPoint, Corners
from bite.files.take import Take, TakePicture

COMPARED = 10
"""So many of the best frames are compared; who drops out makes room for others, for so many rounds."""
_ROUNDS = 5
"""Rounds of comparing neighbours in rank (our choice)."""
JAW_MM = 0.6
"""A lower row that stands lower by more than this is told (our choice, no source)."""


def rank_with_jaws(take: Take, measures: Sequence[Measures], marks: Sequence[int]) -> tuple[Ranked, ...]:
    """Rank, compare the jaws of the best, and rank again, until the best of them agree.

    Parameters
    ----------
    take : Take
    measures : sequence of Measures
    marks : sequence of int, marks of the frames as they were read
    """
    faces: dict[int, LowerFace | None] = {}
    lower: dict[int, LowerJaw] = {}
    ranked = rank(measures, lower)
    for _ in range(_ROUNDS):
        best = [one.measures for one in ranked if one.standing is not Standing.UNFIT][:COMPARED]
        for one in best:
            if one.number not in faces:
                faces[one.number] = _face(take, one, marks)
        found = _lower_ones(best, faces)
        if not found:
            break
        lower |= found
        ranked = rank(measures, lower)
    return ranked


def _lower_ones(best: Sequence[Measures], faces: Mapping[int, LowerFace | None]) -> dict[int, LowerJaw]:
    found: dict[int, LowerJaw] = {}
    for high in best:
        for low in best:
            above, below = faces[high.number], faces[low.number]
            if high is low or above is None or below is None or not same_smile(above, below):
                continue
            drop = jaw_drop(above, below)
            if drop.likeness < LEAST_LIKENESS or drop.drop_mm <= JAW_MM:
                continue
            if low.number not in found or found[low.number].drop_mm < drop.drop_mm:
                found[low.number] = LowerJaw(high.number, drop.drop_mm)
    return found


def _face(take: Take, one: Measures, marks: Sequence[int]) -> LowerFace | None:
    item = next(iter(take.read(one.number, one.number + 1, marks)), None)
    if not isinstance(item, TakePicture) or one.points is None:
        return None
    points = {code: CornerPoint(p.state, p.x_px, p.y_px, p.sigma_px) for code, p in one.points.items()}
    height, width = item.image.shape[:2]
    try:
        row = tooth_row_from_corners(Corners(Path(one.name), one.name, width, height, points))
    except DegenerateGeometryError:
        return None
    return lower_face(item.image, row)
