"""Is the sd that a check states the size of its errors? Twenty frames that share no code with the program."""

from __future__ import annotations

import os
from collections import defaultdict
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from tests.worlds.every import WORLDS
from tests.worlds.scene import scene_key
from tests.worlds.study import Z95, Row, run_alike

MODELLED = [world for world in WORLDS.values() if world.modelled]
COUNT, FIRST_SEED = 20, 501
CHANCE = 0.001
"""How often chance alone fails the sum of squares; with fixed seeds that is always or never."""


@pytest.fixture(scope="module")
def rows(head_wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Row]:
    """Check every modelled world once, and the first of them again, until there are twenty frames."""
    folder = tmp_path_factory.mktemp("worlds")
    alike = defaultdict(list)
    for k in range(COUNT):
        world, seed = MODELLED[k % len(MODELLED)], FIRST_SEED + k // len(MODELLED)
        alike[scene_key(world), seed].append((world, seed, folder / str(k), folder / "scenes"))
    with get_context("spawn").Pool(min(2, os.cpu_count() or 1)) as pool:
        return [row for rows in pool.map(run_alike, list(alike.values()), chunksize=1) for row in rows]


@pytest.mark.slow
@pytest.mark.network
def test_every_frame_gets_an_offset(rows: list[Row]) -> None:
    assert [(row.world, row.error) for row in rows if not np.isfinite(row.value_mm)] == []


def over_sd(rows: list[Row]) -> np.ndarray:
    """Errors over stated sds, shape (20,)."""
    return np.array([(row.value_mm - row.truth_mm) / row.sd_mm for row in rows])


@pytest.mark.slow
@pytest.mark.network
def test_errors_are_as_large_as_the_stated_sd(rows: list[Row]) -> None:
    """The sum of n squares of standard normals is chi-square with n degrees of freedom."""
    low, high = chi2.ppf([CHANCE / 2, 1 - CHANCE / 2], COUNT) / COUNT
    assert low < np.mean(over_sd(rows) ** 2) < high


@pytest.mark.slow
@pytest.mark.network
def test_errors_lean_to_no_side(rows: list[Row]) -> None:
    # 3.3 sds of a mean of twenty: 0.1 % by chance
    assert abs(np.mean(over_sd(rows))) < 3.3 / np.sqrt(COUNT)


@pytest.mark.slow
@pytest.mark.network
def test_intervals_hold_the_truth(rows: list[Row]) -> None:
    # of twenty 95 % intervals fewer than 17 hold in 1.6 % of such sets by chance
    assert np.sum(np.abs(over_sd(rows)) <= Z95) >= 17
