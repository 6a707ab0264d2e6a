"""Pictures with a pale rectangle on red: which of two renderings do the pixels side with?"""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.teeth import SKIN, UPPER
from bite.opinion.picture_vote import picture_vote

SHAPE = (80, 100)
MM_PER_PX = 0.3


def teeth(top: int) -> np.ndarray:
    """Part numbers with enamel 20 rows tall from a row on."""
    part = np.full(SHAPE, SKIN)
    part[top : top + 20, 25:75] = UPPER
    return part


def picture_of(part: np.ndarray, noise: float = 8.0, enamel: tuple[int, ...] = (225, 215, 195)) -> np.ndarray:
    rng = np.random.default_rng(3)
    colour = np.where((part == UPPER)[..., None], enamel, (150, 80, 75))
    return np.clip(colour + rng.normal(0, noise, (*SHAPE, 3)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("true_top", "speaks", "share"), [(36, "for it", 1.0), (30, "against it", 0.0)])
def test_the_picture_sides_with_what_it_shows(true_top: int, speaks: str, share: float) -> None:
    vote = picture_vote(picture_of(teeth(true_top)), teeth(30), teeth(36), MM_PER_PX)
    assert vote is not None and vote.speaks == speaks
    # colours stand eight of their sds apart
    assert vote.share == pytest.approx(share, abs=0.01)
    assert vote.area_mm2 == pytest.approx(2 * 6 * 50 * MM_PER_PX**2)


def test_half_way_is_a_draw() -> None:
    vote = picture_vote(picture_of(teeth(33)), teeth(30), teeth(36), MM_PER_PX)
    assert vote is not None and vote.speaks == "neither way" and vote.share == pytest.approx(0.5, abs=0.02)


def test_it_stays_silent_where_it_cannot_know() -> None:
    shown = picture_of(teeth(30))
    assert picture_vote(shown, teeth(30), teeth(30), MM_PER_PX) is None
    assert picture_vote(np.zeros((*SHAPE, 3), np.uint8), teeth(30), teeth(36), MM_PER_PX) is None
    alike = picture_of(teeth(36), 30.0, enamel=(152, 82, 77))
    assert picture_vote(alike, teeth(30), teeth(36), MM_PER_PX) is None
