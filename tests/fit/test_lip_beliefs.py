"""What is believed of a lip line that was read in the picture, and which way it was read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.parameters import COUNT
from tests.fit.test_lip_block import WAVES, lips

AT = np.zeros(COUNT + WAVES + 2)


def test_what_is_believed_of_a_lip_line() -> None:
    """Either lip's edge read off by 0.2 mm as a whole, no place better than 0.1 mm, two neighbours as one."""
    block = lips()
    assert block.extra_precision == pytest.approx([25.0, 25.0])
    assert block.predict(AT).weight == pytest.approx(np.full(6, 0.5))
    exact = replace(block, off_px=np.zeros(6))
    assert exact.with_noise_from(exact.predict(AT), AT, None).sd_mm == 0.1
    assert (block.name, block.shares_with) == ("lips", "depth")


def test_the_line_was_read_outward_of_the_solved_rim() -> None:
    block = replace(lips(), off_px=np.full(6, 2.0), mm_per_px=0.6)
    away = block.read_px - block.camera.project(block.points_mm)
    assert np.einsum("ni,ni->n", away, block.outward) == pytest.approx(block.off_px)
    assert block.predict(AT).residual * block.sd_mm == pytest.approx(np.full(6, 2.0 * 0.6))
