"""The mouth's outline in the picture against the one that depth has."""

from __future__ import annotations

import numpy as np
import pytest

from bite.check.checks.registered import registered, stands_elsewhere, stands_here
from bite.check.finding import Severity
from bite.evidence.model.registered import Registration, registration
from bite.evidence.model.teeth_in_view import TeethInView
from bite.evidence.picture.piece import Piece
from bite.geometry.teeth import SKIN, UPPER

SIDE_PX, MM_PER_PX = 240, 0.25


def _opening(right_px: float, down_px: float, size: float) -> np.ndarray:
    y, x = np.indices((SIDE_PX, SIDE_PX)) - (SIDE_PX - 1) / 2.0
    wide, high = 90.0 * size, 36.0 * size
    bent = (y - down_px) - 0.001 * (x - right_px) ** 2
    return ((x - right_px) / wide) ** 2 + (bent / high) ** 2 < 1.0


def _seen(right_mm: float = 0.0, down_mm: float = 0.0, size: float = 1.0, noise: float = 3.0) -> TeethInView:
    """Give a model with its mouth in the middle, and a picture whose mouth stands elsewhere."""
    rng = np.random.default_rng(5)
    mouth = _opening(right_mm / MM_PER_PX, down_mm / MM_PER_PX, size)
    picture = np.where(mouth[..., None], (225.0, 220.0, 205.0), (150.0, 95.0, 85.0))
    picture = np.clip(picture + rng.normal(0.0, noise, picture.shape), 0, 255).astype(np.uint8)
    part = np.where(_opening(0.0, 0.0, 1.0), UPPER, SKIN).astype(np.int8)
    piece = Piece(picture, 0, 0, 1)
    return TeethInView(piece, None, part, MM_PER_PX, 300.0, 400.0, {}, {})  # type: ignore[arg-type]  # a stand-in


def test_a_mouth_that_stands_where_it_is_says_so() -> None:
    found = registration(_seen())
    assert found is not None and found.shift_mm < 0.5 and found.size == 1.0
    assert stands_here(found) and registered(found, None).severity is Severity.OK


@pytest.mark.parametrize(("right", "down"), [(3.0, 0.0), (0.0, -2.4), (-4.0, 3.0)])
def test_a_shift_is_measured_and_fails(right: float, down: float) -> None:
    found = registration(_seen(right, down))
    assert found is not None
    assert abs(found.right_mm - right) < 0.5 and abs(found.down_mm - down) < 0.5
    told = registered(found, None)
    assert told.severity is Severity.FAIL and "not registered" in told.text
    assert ("right" in told.text) == (right > 0) and ("up" in told.text) == (down < 0)


def test_a_lens_that_is_off_shows_as_size() -> None:
    found = registration(_seen(size=1.1))
    assert found is not None and abs(found.size - 1.1) < 0.026
    told = registered(found, None)
    assert told.severity is Severity.FAIL and "larger" in told.text and "focal length" in told.todo


def test_the_odd_one_is_named_where_the_solved_head_fits_the_picture() -> None:
    off, fits = registration(_seen(4.0)), registration(_seen())
    assert "depth map or its camera file is the odd one" in registered(off, fits).text
    assert "odd one" not in registered(off, None).text


def test_a_picture_without_edges_says_nothing() -> None:
    assert not stands_elsewhere(Registration(6.0, 0.0, 1.0, 0.5, 0.55, 3.0))
    assert not stands_elsewhere(Registration(6.0, 0.0, 1.0, 0.5, 0.9, 1.0))
    assert not stands_elsewhere(None) and not stands_here(None)
    assert registered(None, None).severity is Severity.OK


def test_a_mouth_cut_off_by_the_piece_is_not_judged() -> None:
    seen = _seen()
    part = np.full_like(seen.part, SKIN)
    part[118:122, 118:122] = UPPER
    from dataclasses import replace

    assert registration(replace(seen, part=part)) is None


MISSES = Registration(0.0, -1.0, 1.025, 0.34, 0.99, 14.0)
FAR, FITS = Registration(-3.0, 0.0, 1.0, 0.3, 0.9, 6.0), Registration(0.2, 0.0, 1.0, 0.98, 0.99, 0.5)


def test_an_outline_on_no_edge_at_all_is_another_mouth_however_near() -> None:
    assert stands_elsewhere(MISSES)
    assert not stands_elsewhere(Registration(0.0, -1.0, 1.025, 0.6, 0.99, 2.5))
    told = registered(MISSES, FITS)
    assert told.severity is Severity.FAIL and "1.0 mm up" in told.text and "depth map" in told.text


@pytest.mark.parametrize(
    ("as_solved", "agree", "odd"),
    [(FITS, True, "depth map"), (FAR, True, "picture"), (FAR, False, "solved mouth"), (None, None, "")],
)
def test_of_three_that_disagree_the_odd_one_is_named(
    as_solved: Registration | None, agree: bool | None, odd: str
) -> None:
    text = registered(FAR, as_solved, depth_and_model_agree=agree).text
    assert ("odd one" in text) == bool(odd)
    if odd:
        assert odd in text.partition("; ")[2]


def test_a_second_view_of_another_moment_is_named() -> None:
    told = registered(FITS, None, others=(("left", FITS), ("side", FAR)))
    assert told.severity is Severity.FAIL and told.text.startswith("view side is not of this frame")
    assert "view side" in told.todo
    assert registered(FITS, None, others=(("side", None),)).severity is Severity.OK


def test_a_model_that_depth_pulls_off_the_picture_that_it_fitted_is_told() -> None:
    pulled = Registration(0.0, -0.8, 1.0, 0.85, 0.99, 4.5)
    assert not stands_elsewhere(pulled)
    told = registered(pulled, FITS, depth_inliers=0.91)
    assert told.severity is Severity.FAIL and "depth map or its camera file is the odd one" in told.text
    assert registered(pulled, None, depth_inliers=0.91).severity is Severity.OK
    # depth is met well, as where a lip was solved too thick; or the model fits no better as it was solved
    assert registered(pulled, FITS, depth_inliers=0.99).severity is Severity.OK
    neither = Registration(0.4, 0.0, 1.0, 0.86, 0.99, 4.0)
    assert registered(pulled, neither, depth_inliers=0.91).severity is Severity.OK
