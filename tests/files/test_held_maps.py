"""Maps of one held bite: what is planted in them comes back, and what moved is left out by name."""

from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, shift

from bite.errors import InputError
from bite.files.depth import DepthMap
from bite.files.held_maps import held_map

FRAME = Path("a.bite.toml")
HEIGHT, WIDTH = 96, 128


def scene() -> np.ndarray:
    """A face-like relief: a bulge with ripples, a wall far behind on one side, holes in a corner."""
    down, right = np.indices((HEIGHT, WIDTH), dtype=float)
    face = 300 + 25 * (((right - 60) / 60) ** 2 + ((down - 48) / 50) ** 2)
    face += 1.5 * np.sin(right / 5) + 1.5 * np.cos(down / 6)
    face[:, 118:] = 700.0
    return face


def maps_of(
    count: int, rng: np.random.Generator, *, sd: float = 0.4, blur: float = 1.2, wild: float = 0.0
) -> list[DepthMap]:
    found = []
    for number in range(count):
        noise = gaussian_filter(rng.normal(size=(HEIGHT, WIDTH)), blur, mode="wrap")
        depth = scene() + sd * noise / noise.std()
        at = rng.random(depth.shape) < wild
        depth[at] += rng.normal(0, 30, int(at.sum()))
        depth[rng.random(depth.shape) < 0.02] = np.nan
        found.append(DepthMap(Path(f"d{number:03d}.png"), depth, 0.1))
    return found


def lip_moved(depth: np.ndarray) -> np.ndarray:
    """A lip, 30 px wide and 6 high, that comes forward by 2 mm."""
    down, right = np.indices(depth.shape)
    return depth - 2.0 * np.exp(-((down - 60) ** 2) / 18 - ((right - 60) ** 2) / 450)


@pytest.mark.parametrize(("count", "wild"), [(30, 0.0), (30, 0.05), (8, 0.02)])
def test_the_mean_is_as_good_as_it_says(count: int, wild: float) -> None:
    found = held_map(maps_of(count, np.random.default_rng(1), wild=wild), FRAME)
    held = found.held
    assert held is not None and held.used == held.given == count and held.left_out == ()
    assert held.noise_mm == pytest.approx(0.4, rel=0.08)
    assert held.correlation_px == pytest.approx(1.2, rel=0.1)
    error = found.depth_mm - scene()
    assert np.nanstd(error) == pytest.approx(0.4 / np.sqrt(count), rel=0.15)
    assert held.mean_noise_mm == pytest.approx(float(np.nanstd(error)), rel=0.15)
    assert found.step_mm < 0.1  # noise of four steps carries the mean across them


def test_what_all_maps_share_stays_in_the_mean() -> None:
    rng = np.random.default_rng(2)
    pattern = 0.3 * rng.normal(size=(HEIGHT, 1))
    maps = [DepthMap(m.path, m.depth_mm + pattern, m.step_mm) for m in maps_of(30, rng)]
    left = held_map(maps, FRAME).depth_mm - scene()
    assert np.corrcoef(np.nanmean(left, axis=1), pattern[:, 0])[0, 1] > 0.98


@pytest.mark.parametrize(
    ("move", "why"),
    [
        (lambda d: shift(d, (0, 0.6), order=3, mode="nearest"), "px"),
        (lambda d: d + 0.6, "mm in depth"),
        (lambda d: d + np.linspace(-0.8, 0.8, WIDTH), "mm in depth"),
        (lip_moved, "a part of it moved"),
    ],
)
def test_a_map_that_moved_is_left_out_by_name(move, why: str) -> None:
    rng = np.random.default_rng(3)
    maps = maps_of(12, rng)
    off = move(scene()) + (maps[5].depth_mm - scene())
    maps[5] = DepthMap(maps[5].path, off, 0.1)
    held = held_map(maps, FRAME).held
    assert held is not None and held.used == 11
    ((name, told),) = held.left_out
    assert name == "d005.png" and why in told


def test_shifts_below_the_limit_stay() -> None:
    maps = maps_of(12, np.random.default_rng(4))
    off = shift(scene(), (0.1, 0.05), order=1, mode="nearest") + (maps[5].depth_mm - scene())
    maps[5] = DepthMap(maps[5].path, off, 0.1)
    held = held_map(maps, FRAME).held
    assert held is not None and held.used == 12


def test_readings_that_repeat_each_other_count_less() -> None:
    rng = np.random.default_rng(5)
    noise, found = np.zeros((HEIGHT, WIDTH)), []
    for number in range(30):
        noise = 0.8 * noise + 0.6 * 0.4 * rng.normal(size=noise.shape)  # sd 0.4, follows itself with 0.8
        if number == 0:
            noise = 0.4 * rng.normal(size=noise.shape)
        found.append(DepthMap(Path(f"d{number}.png"), scene() + noise, 0.0))
    held = held_map(found, FRAME)
    error = float(np.nanstd(held.depth_mm - scene()))
    assert held.held is not None
    # nine times what 30 independent ones would leave, squared; told to a quarter
    assert held.held.mean_noise_mm == pytest.approx(error, rel=0.25)
    assert error > 2 * 0.4 / np.sqrt(30)


def test_steps_stay_steps_where_no_noise_carries_the_mean_across_them() -> None:
    depth = np.round(scene())
    maps = [DepthMap(Path(f"d{k}.png"), depth + 1e-9 * k, 1.0) for k in range(5)]
    assert held_map(maps, FRAME).step_mm == 1.0


def test_the_same_readings_twice_are_refused() -> None:
    maps = maps_of(3, np.random.default_rng(6))
    maps[2] = DepthMap(Path("copy.png"), maps[0].depth_mm, 0.1)
    with pytest.raises(InputError, match=r"copy\.png: holds the readings of d000\.png"):
        held_map(maps, FRAME)


def test_a_first_map_of_another_moment_is_told() -> None:
    maps = maps_of(8, np.random.default_rng(8))
    off = lip_moved(scene()) + (maps[0].depth_mm - scene())
    maps[0] = DepthMap(maps[0].path, off, 0.1)
    with pytest.raises(InputError, match="holds still with the first, d000"):
        held_map(maps, FRAME)


def test_where_nothing_holds_still_with_the_first_that_is_told() -> None:
    maps = maps_of(4, np.random.default_rng(7))
    maps = [maps[0], *(DepthMap(m.path, m.depth_mm + 5.0 + k, 0.1) for k, m in enumerate(maps[1:]))]
    with pytest.raises(InputError, match="none of the other 3 maps holds still"):
        held_map(maps, FRAME)
