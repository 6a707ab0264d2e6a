"""Which waves of the skin its bumps can follow, and how freely."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.head import Head
from bite.fit.skin_waves import learned_sd_mm, skin_waves
from bite.geometry.teeth import SKIN
from tests.fit.test_rim_slopes import sheet


@pytest.mark.parametrize(("length_mm", "followed"), [(80.0, True), (50.0, True), (40.0, True), (15.0, False)])
def test_bumps_follow_waves_of_40_mm_and_longer_and_leave_short_ones_to_the_noise(
    length_mm: float, followed: bool
) -> None:
    """Waves of 0.4 mm on flat skin known to 0.05 mm, against bumps believed to be 0.3 mm high."""
    points, faces, part = sheet(SKIN, (-60, 60), (-60, 60), 292.0)
    axes = (np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), np.array([0.0, -1, 0]))
    head = Head(points, faces.astype(np.int32), part, np.zeros(len(points), bool), *axes,
                np.array([0.0, 0, 300]), {}, {})  # fmt: skip
    waves = skin_waves(head, 63.0)
    at, moves = points[waves.skin, :2], waves.skin_moves
    near = np.hypot(*at.T) < 30.0
    for phase in (0.0, 0.8, 1.6):
        for direction in ([1.0, 0.0], [0.0, 1.0], [0.7, 0.7]):
            wave = 0.4 * np.sin(2 * np.pi * at @ direction / length_mm + phase)
            precision = moves.T @ moves / 0.05**2 + np.eye(waves.count) / 0.3**2
            heights = np.linalg.solve(precision, moves.T @ wave / 0.05**2)
            left = np.std((wave - moves @ heights)[near]) / np.std(wave[near])
            # measured: 0.025 to 0.082 of waves of 40 mm and more, all of those of 15 mm
            assert left < 0.12 if followed else left > 0.9


def test_wild_heights_of_one_round_do_not_set_all_waves_free() -> None:
    assert learned_sd_mm(np.full(50, 7.0), np.full(50, 1e-4), 0.3) == pytest.approx(0.9)
