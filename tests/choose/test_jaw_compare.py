"""Jaws held against each other: a lower row that went down is found where it is, and by how much."""

from pathlib import Path

import numpy as np
import pytest

from bite.choose.jaw_compare import LEAST_LIKENESS, jaw_drop, lower_face
from bite.evidence.clicks.tooth_row import tooth_row_from_corners
from bite.files.corners import CornerPoint, Corners, CornerState
from demo_bite.scene.take import Planted
from tests.choose.takes import frames_of, small_take


def _face(take, number):
    frame = take.frame(number)
    points = {
        code: CornerPoint(CornerState.SEEN, float(x), float(y), 0.3)
        for code, (x, y) in frame.corners_px.items()
        if code[0] in "12"
    }
    height, width = frame.image.shape[:2]
    row = tooth_row_from_corners(Corners(Path("c"), "c", width, height, points))
    return lower_face(frame.image, row)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11, 12])
def test_the_drop_of_a_jaw_behind_an_overlap_is_measured(seed):
    take = small_take(seed)
    best = frames_of(take, Planted.BEST)
    ajar = frames_of(take, Planted.AJAR)[0]
    found = jaw_drop(_face(take, best[1]), _face(take, ajar))
    planted = 0.6 * take.anatomy.overbite_mm
    # the head is seen from below, so that a drop of the jaw looks up to a quarter longer or shorter
    assert found.likeness > LEAST_LIKENESS and found.drop_mm == pytest.approx(planted, rel=0.3, abs=0.2)


@pytest.mark.slow
def test_the_same_bite_shows_no_drop_and_another_mouth_is_not_alike():
    take = small_take(11)
    best, gap = frames_of(take, Planted.BEST), frames_of(take, Planted.GAP)[1]
    same = jaw_drop(_face(take, best[0]), _face(take, best[1]))
    assert abs(same.drop_mm) < 0.2 and same.likeness > LEAST_LIKENESS
    assert jaw_drop(_face(take, gap), _face(take, best[0])).likeness < LEAST_LIKENESS


@pytest.mark.slow
def test_a_picture_without_structure_is_not_alike():
    take = small_take(11)
    face = _face(take, frames_of(take, Planted.BEST)[0])
    flat = type(face)(np.full_like(face.plane, 128), np.full_like(face.above, 128))
    assert not jaw_drop(face, flat).likeness > LEAST_LIKENESS
