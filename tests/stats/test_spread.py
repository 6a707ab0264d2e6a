"""What is believed of the spread between bites: half a Student's t, against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t

from bite.stats.spread import SpreadNodes, believed_spreads, half_t_nodes, one_spread, spread_told


@pytest.mark.parametrize("scale", [0.1, 0.4])
def test_nodes_stand_for_half_a_students_t_of_four_degrees(scale: float) -> None:
    values, weight = half_t_nodes(400, scale)
    assert weight.sum() == pytest.approx(1.0) and (np.diff(values) > 0).all()
    for share in (0.1, 0.5, 0.9, 0.99):
        at = scale * t.ppf(0.5 + 0.5 * share, 4)
        # 400 nodes: each holds at most 3 / 400 of the belief
        assert weight[values < at].sum() == pytest.approx(share, abs=0.008)


def test_forward_and_aside_are_believed_apart() -> None:
    nodes = believed_spreads()
    chance = nodes.weight / nodes.weight.sum()
    middle = [np.sort(nodes.mm[:, k])[np.searchsorted(np.cumsum(chance[np.argsort(nodes.mm[:, k])]), 0.5)]
              for k in range(3)]  # fmt: skip
    # the median of half a t of four degrees is 0.7407 scales; 40 and 16 nodes find it to a few per cent
    assert middle[0] == pytest.approx(0.7407 * 0.4, rel=0.1)
    assert middle[1] == middle[2] == pytest.approx(0.7407 * 0.1, rel=0.2)
    # a tenth lies above 0.85 mm
    assert chance[nodes.mm[:, 0] > 0.853].sum() == pytest.approx(0.1, abs=0.03)


def test_the_spread_is_told_with_the_middle_95_per_cent() -> None:
    values = np.linspace(0.005, 0.995, 100)
    told = spread_told(SpreadNodes(np.column_stack([values] * 3), np.ones(100)), np.full(100, 0.01))
    assert told.median_mm == pytest.approx(0.5)
    assert told.interval_mm == pytest.approx((0.025, 0.975))


def test_one_spread_is_told_as_it_is() -> None:
    told = spread_told(one_spread(np.array([0.3, 0.1, 0.1])), np.ones(1))
    assert (told.median_mm, told.interval_mm) == (0.3, (0.3, 0.3))
