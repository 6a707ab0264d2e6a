"""What a sensor adds and how it stores it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.worlds.description import Sensor, Storage
from tests.worlds.sensor import DISPARITY_BASE_MM, INVERSE_PER_M, area_means, read_depth, stored_values

FLAT = np.full((80, 90, 4), 300.0, dtype=np.float32)
NO_ENAMEL = np.zeros(FLAT.shape, dtype=bool)
FACING = np.ones(FLAT.shape, dtype=np.float32)
STILL = Sensor(width_px=(0.0, 0.0), noise_mm=0.0)


def read(sensor: Sensor, depth=FLAT, enamel=NO_ENAMEL, slant=FACING, seed: int = 1) -> np.ndarray:  # type: ignore[no-untyped-def]  # handed in
    return read_depth(depth, enamel, slant, sensor, np.random.default_rng(seed)).depth_mm


def test_a_pixel_mostly_beside_everything_reads_nothing() -> None:
    rays = FLAT[:1, :2].copy()
    rays[0, 0, :3] = np.nan
    rays[0, 1, :2] = np.nan
    assert np.isnan(area_means(rays)[0, 0])
    assert area_means(rays)[0, 1] == 300.0


def test_noise_has_its_sd_and_correlation() -> None:
    noise = read(replace(STILL, noise_mm=0.4, correlation_px=1.5)) - 300.0
    assert noise.std() == pytest.approx(0.4, rel=1e-6)
    # white noise under a Gaussian of sd s is correlated by exp(-lag^2 / 4 s^2); 80 x 90 pixels hold some 250
    # independent patches
    near = (noise[:, 2:] * noise[:, :-2]).mean() / noise.var()
    assert near == pytest.approx(np.exp(-4.0 / 9.0), abs=0.1)
    white = read(replace(STILL, noise_mm=0.4, correlation_px=0.0)) - 300.0
    assert white.std() == pytest.approx(0.4, rel=0.05)
    assert abs((white[:, 1:] * white[:, :-1]).mean() / white.var()) < 0.06


def test_noise_grows_with_distance_and_slant() -> None:
    grown = replace(STILL, noise_mm=0.4, correlation_px=0.0, noise_grows=True)
    far = read(grown, depth=2.0 * FLAT, slant=0.5 * FACING) - 600.0
    assert far.std() == pytest.approx(0.4 * 4.0 * 2.0, rel=0.05)


def test_enamel_reads_deeper_by_its_bias() -> None:
    enamel = NO_ENAMEL.copy()
    enamel[:, :40] = True
    enamel[:, 40, :2] = True
    found = read(replace(STILL, enamel_bias_mm=0.6), enamel=enamel)[5]
    np.testing.assert_allclose(found[[0, 39, 40, 41]], [300.6, 300.6, 300.3, 300.0], atol=1e-4)


def test_shares_of_wild_pixels_and_holes_are_as_told() -> None:
    wild = read(replace(STILL, gross_share=(0.05, 0.05))) != 300.0
    # 7200 pixels: sd of the share 0.0026
    assert wild.mean() == pytest.approx(0.05, abs=0.01)
    assert np.isnan(read(replace(STILL, hole_share=0.1))).mean() == pytest.approx(0.1, abs=0.001)


def test_flying_pixels_lie_between_what_is_before_and_behind() -> None:
    depth = FLAT.copy()
    depth[:, 45:] = 310.0
    depth[:, 44, 2:] = 310.0
    found = read(replace(STILL, flying=True), depth=depth)
    assert ((found[:, 44] > 300.0) & (found[:, 44] < 310.0)).all()
    assert found[:, 44].std() > 1.0
    assert set(np.unique(np.delete(found, 44, axis=1))) == {300.0, 310.0}


def test_rows_and_columns_keep_their_errors() -> None:
    found = read(replace(STILL, rows_mm=0.15)) - 300.0
    np.testing.assert_allclose(found - found[:1] - found[:, :1] + found[0, 0], 0.0, atol=1e-4)
    assert found.std() > 0.1


def test_stored_numbers_stand_for_their_depths() -> None:
    depth = np.array([[280.0, 300.02, 333.3, np.nan]])
    steps = stored_values(depth, Sensor(step=0.05))
    assert steps.dtype == np.uint16
    np.testing.assert_allclose(steps * 0.05, [[280.0, 300.0, 333.3, 0.0]], atol=1e-9)
    with pytest.raises(ValueError, match="hold 328 mm at most"):
        stored_values(depth, Sensor(step=0.005))
    inverse = stored_values(depth, Sensor(storage=Storage.INVERSE))
    assert inverse.dtype == np.uint8
    far, near = INVERSE_PER_M
    back = 1000.0 / (far + inverse[0, :3] / 255.0 * (near - far))
    # a step of 2.9 / 255 per metre is 1.0 mm at 300 mm and 1.26 mm at 333 mm
    assert (np.abs(back - depth[0, :3]) < 0.65).all()
    assert inverse[0, 3] == 0
    disparity = stored_values(depth, Sensor(storage=Storage.DISPARITY, step=0.125))
    eighths = 600.0 * DISPARITY_BASE_MM / disparity[0, :3] / 0.125
    np.testing.assert_allclose(eighths, np.round(eighths), atol=1e-3)
    assert (np.abs(disparity[0, :3] - depth[0, :3]) < 0.5 * 0.125 * 333.3**2 / (600.0 * 75.0)).all()
