"""The noise of a depth map against every pair of pixels written out, and against noise that is known."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from bite.fit.noise import MapNoise, assumed_noise, correlated_meat, map_noise
from tests.fit.dense_noise import Dense, dense_meat, dense_noise

START = assumed_noise(0.5, 1.5)
SHAPES = {(25, 27): 0.8, (24, 32): 1.7}
"""Shapes of skin and the size of their pixels, mm. On the first, correlation reaches as far as the skin does,
where few pairs are left, at some lags just thirty; the second has an odd padded width."""
EXACT = 1e-9
"""Sums of some thousand products of order one carry about 1e-13 of rounding each way."""


def ragged(height: int, width: int) -> np.ndarray:
    """A mask with a slanted side, a hole, a bay and an island."""
    y, x = np.mgrid[:height, :width]
    mask = (x > 0.3 * y - 2) & (np.hypot(y - 0.4 * height, x - 0.7 * width) > 3.2)
    mask &= ~((y > 0.75 * height) & (x > 0.4 * width) & (x < 0.6 * width))
    mask[2:4, 1] = False
    return np.asarray(mask)


def field(kind: str, shape: tuple[int, int], seed: int = 0) -> np.ndarray:
    """Noise of sd 0.4 mm with some wild readings, white or blurred, or with waves beside it."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(0.0, 1.0, shape)
    if kind != "white":
        noise = gaussian_filter(noise, 1.2, mode="wrap")
        noise /= noise.std()
    noise *= 0.4
    if kind == "waves":
        y, x = np.mgrid[: shape[0], : shape[1]]
        noise += 0.5 * np.sin(2 * np.pi * x / 15.0 + 0.4) * np.cos(2 * np.pi * y / 19.0)
    noise[rng.random(shape) < 0.03] += 5.0
    return np.asarray(noise)


@cache
def both(shape: tuple[int, int], kind: str) -> tuple[MapNoise, Dense]:
    """Give what the product says of a ragged piece of skin, and what every pair of pixels says."""
    return measured(field(kind, shape), ragged(*shape), mm_per_px=SHAPES[shape])


def measured(
    residual: np.ndarray, skin: np.ndarray, *, mm_per_px: float = 1.7, floor_mm: float = 0.0
) -> tuple[MapNoise, Dense]:
    """Give what the product says and what every pair of pixels says."""
    teeth = np.zeros_like(skin)
    said = map_noise(residual, skin, teeth, mm_per_px=mm_per_px, floor_mm=floor_mm, start=START)
    return said, dense_noise(residual, skin, mm_per_px=mm_per_px, floor_mm=floor_mm, padded=said.padded)


@pytest.mark.parametrize("kind", ["white", "correlated", "waves"])
@pytest.mark.parametrize("shape", SHAPES, ids=["even", "odd"])
def test_map_noise_is_what_every_pair_of_pixels_says(shape: tuple[int, int], kind: str) -> None:
    said, dense = both(shape, kind)
    assert said.padded[1] % 2 == (shape == (24, 32))
    assert said.skin_sd_mm == pytest.approx(dense.skin_sd_mm, rel=EXACT)
    assert said.correlation_px == pytest.approx(dense.length_px, rel=EXACT)
    assert said.inflation == pytest.approx(dense.inflation, rel=EXACT)
    for spectrum, correlation in ((said.spectrum, dense.short), (said.whole_spectrum, dense.whole)):
        assert spectrum is not None
        np.testing.assert_allclose(np.fft.irfft2(spectrum, said.padded), correlation, rtol=0, atol=EXACT)


@pytest.mark.parametrize("whole", [False, True], ids=["noise", "whole"])
@pytest.mark.parametrize("kind", ["white", "correlated", "waves"])
@pytest.mark.parametrize("shape", SHAPES, ids=["even", "odd"])
def test_the_scatter_of_slope_maps_is_that_of_the_whole_matrix(
    shape: tuple[int, int], kind: str, whole: bool
) -> None:
    skin = ragged(*shape)
    said, dense = both(shape, kind)
    # not smooth: a map that is would have nothing in the last column of the half plane
    maps = np.where(skin, np.random.default_rng(3).normal(0.3, 1.0, (4, *shape)), 0.0)
    expected = dense_meat(maps, dense.whole if whole else dense.short)
    found = correlated_meat(maps, said, whole=whole)
    np.testing.assert_allclose(found, expected, rtol=0, atol=EXACT * np.trace(expected))
    assert np.linalg.eigvalsh(found).min() > -EXACT * np.trace(found)


@pytest.mark.parametrize("padded", [(30, 40), (27, 45), (32, 45), (27, 40)])
def test_every_column_of_the_half_plane_counts_as_often_as_it_stands_in_the_whole(
    padded: tuple[int, int],
) -> None:
    """Maps that hold one single frequency each: a column counted wrongly cannot hide among the others."""
    height, width = padded
    y, x = np.mgrid[:height, :width]
    lag = np.hypot(np.minimum(y, height - y), np.minimum(x, width - x))
    correlation = np.exp(-0.5 * (lag / 0.8) ** 2) + 0.3 * (lag == 0)
    spectrum = np.fft.rfft2(correlation).real
    noise = MapNoise(1.0, 1.0, spectrum, 2.0 * spectrum, padded, 1.0, 1.0)
    maps = np.stack([np.cos(2 * np.pi * (k * x / width + 3 * y / height)) for k in (0, 1, width // 2)])
    expected = dense_meat(maps, correlation)
    np.testing.assert_allclose(correlated_meat(maps, noise), expected, rtol=0, atol=EXACT * expected.max())
    np.testing.assert_allclose(
        correlated_meat(maps, noise, whole=True), 2.0 * expected, rtol=0, atol=2 * EXACT * expected.max()
    )


@pytest.mark.parametrize("shape", SHAPES, ids=["even", "odd"])
def test_stripes_of_the_sensor_leave_no_power_below_zero(shape: tuple[int, int]) -> None:
    """Noise of one frequency: what fades it out over a circle would leave negative powers beside it."""
    x = np.arange(shape[1])
    residual = 0.5 * np.cos(2 * np.pi * x / 3.0) + 0.1 * field("white", shape)
    said, dense = measured(residual, ragged(*shape), mm_per_px=SHAPES[shape])
    for spectrum, correlation in ((said.spectrum, dense.short), (said.whole_spectrum, dense.whole)):
        assert spectrum is not None and spectrum.min() == 0.0
        np.testing.assert_allclose(np.fft.irfft2(spectrum, said.padded), correlation, rtol=0, atol=EXACT)


def test_before_any_residual_is_known_a_lobe_counts_as_one() -> None:
    noise = assumed_noise(0.5, 2.0)
    assert noise.inflation == pytest.approx(np.pi * 4.0)  # a Gaussian of reach 2: its integral
    assert assumed_noise(0.5, 0.1).inflation == 1.0
    maps = np.random.default_rng(1).normal(size=(3, 6, 7))
    flat = maps.reshape(3, -1)
    for whole in (False, True):
        found = correlated_meat(maps, noise, whole=whole)
        np.testing.assert_allclose(found, np.pi * 4.0 * flat @ flat.T, rtol=1e-12)


def test_the_floor_holds_where_residuals_say_less() -> None:
    skin = ragged(25, 27)
    residual = field("white", skin.shape)
    free, _ = measured(residual, skin)
    floor = 1.5 * free.skin_sd_mm
    held, dense = measured(residual, skin, floor_mm=floor)
    assert held.skin_sd_mm == held.teeth_sd_mm == pytest.approx(floor)
    assert held.spectrum is not None and free.spectrum is not None
    np.testing.assert_allclose(np.fft.irfft2(held.spectrum, held.padded), dense.short, rtol=0, atol=EXACT)
    below, _ = measured(residual, skin, floor_mm=0.5 * free.skin_sd_mm)
    assert below.skin_sd_mm == free.skin_sd_mm


def test_a_map_without_any_scatter_still_has_an_sd() -> None:
    skin = np.ones((10, 10), bool)
    tiny = np.random.default_rng(2).normal(0.0, 1e-9, (10, 10))
    said = map_noise(tiny, skin, ~skin, mm_per_px=1.0, floor_mm=0.0, start=START)
    assert said.skin_sd_mm == 1e-6


def enamel_beside_skin(enamel: np.ndarray) -> tuple[MapNoise, float]:
    """Put enamel residuals (h, w) under skin of known residuals; give the noise and the skin's own sd."""
    skin_part = field("white", (25, 27))
    residual = np.concatenate([skin_part, enamel])
    skin = np.zeros(residual.shape, bool)
    skin[:25] = ragged(25, 27)
    teeth = np.zeros_like(skin)
    teeth[25:] = True
    said = map_noise(residual, skin, teeth, mm_per_px=1.7, floor_mm=0.0, start=START)
    return said, said.skin_sd_mm


def test_the_sd_of_enamel_is_its_mad_times_the_factor_of_the_normal() -> None:
    enamel = np.random.default_rng(4).normal(0.0, 0.6, (8, 27))
    said, skin_sd = enamel_beside_skin(enamel)
    # sorted by hand: the middle one of 216 sizes, times 1 / 0.674489750 (normal quantile of 3/4)
    sizes = sorted(abs(enamel.ravel()).tolist())
    assert said.teeth_sd_mm == pytest.approx(0.5 * (sizes[107] + sizes[108]) / 0.6744897502, rel=1e-8)
    assert said.teeth_sd_mm != skin_sd
    # sd of a MAD of 216 normals: 1.166 / sqrt(2 * 216) = 5.6 %; three of them
    assert said.teeth_sd_mm == pytest.approx(0.6, rel=0.17)


def test_teeth_that_all_stand_wrong_scatter_about_zero_not_about_their_median() -> None:
    enamel = 0.7 + np.random.default_rng(4).normal(0.0, 0.05, (8, 27))
    said, _ = enamel_beside_skin(enamel)
    assert 0.7 < said.teeth_sd_mm < 3.0 * said.skin_sd_mm
    assert said.teeth_sd_mm == pytest.approx(1.4826 * 0.7, rel=0.05)


@pytest.mark.parametrize(("sd", "factor"), [(0.01, 1 / 3.0), (9.0, 3.0)])
def test_enamel_is_at_most_three_times_better_or_worse_than_skin(sd: float, factor: float) -> None:
    said, skin_sd = enamel_beside_skin(np.random.default_rng(4).normal(0.0, sd, (8, 27)))
    assert said.teeth_sd_mm == pytest.approx(factor * skin_sd)


def test_a_hundred_enamel_pixels_speak_and_ninety_nine_do_not() -> None:
    loud = np.random.default_rng(4).normal(0.0, 0.9, (4, 27))
    residual = np.concatenate([field("white", (25, 27)), loud])
    skin = np.zeros(residual.shape, bool)
    skin[:25] = True
    for count, heard in ((99, False), (100, True)):
        teeth = np.zeros_like(skin)
        teeth[25:].flat[:count] = True
        said = map_noise(residual, skin, teeth, mm_per_px=1.7, floor_mm=0.0, start=START)
        assert (said.teeth_sd_mm != said.skin_sd_mm) is heard


def test_fifty_skin_pixels_speak_and_forty_nine_do_not() -> None:
    residual = field("white", (7, 8))
    for count, heard in ((49, False), (50, True)):
        skin = np.zeros(residual.shape, bool)
        skin.flat[:count] = True
        said = map_noise(residual, skin, ~skin, mm_per_px=1.0, floor_mm=0.0, start=START)
        assert (said is not START) is heard


def stated_over_true(blur_px: float, draws: int) -> tuple[np.ndarray, np.ndarray]:
    """Give the stated over the true sd of two means, (2,), by noise alone and by all residuals.

    The noise is white noise convolved with a Gaussian of ``blur_px``, so that its correlation is a Gaussian
    of sqrt(2) times that: the true variance of a mean is a sum over that, with no estimate in it. The means
    are that over a strip as large as teeth, and that of the strip less its surroundings.
    """
    y, x = np.mgrid[:60, :70]
    strip = (np.abs(y - 30) < 4) & (np.abs(x - 35) < 18)
    around = (np.abs(y - 30) < 12) & (np.abs(x - 35) < 26) & ~strip
    maps = np.stack([strip / strip.sum(), strip / strip.sum() - around / around.sum()])
    reach = np.hypot(np.minimum(y, 60 - y), np.minimum(x, 70 - x))
    correlation = np.exp(-0.25 * (reach / blur_px) ** 2) if blur_px else 1.0 * (reach == 0)
    true = 0.4**2 * np.diag(dense_meat(maps, correlation))
    skin = np.ones(strip.shape, bool)
    ratios = []
    for seed in range(draws):
        noise = np.random.default_rng(seed).normal(size=strip.shape)
        if blur_px:
            noise = gaussian_filter(noise, blur_px, mode="wrap") * (2.0 * np.sqrt(np.pi) * blur_px)
        said = map_noise(0.4 * noise, skin, ~skin, mm_per_px=0.7, floor_mm=0.0, start=START)
        stated = [np.diag(correlated_meat(maps, said, whole=whole)) for whole in (False, True)]
        ratios.append(said.skin_sd_mm * np.sqrt(stated / true))
    by_noise, by_all = np.mean(ratios, axis=0)
    return by_noise, by_all


@pytest.mark.parametrize("blur_px", [0.0, 1.0, 1.8])
def test_the_sd_of_a_mean_is_that_of_the_noise_as_drawn(blur_px: float) -> None:
    by_noise, by_all = stated_over_true(blur_px, 12)
    # twelve draws know either ratio to 1 to 2 %; all residuals were measured to give 2 to 8 % too much
    assert (by_all > 0.97).all() and (by_all < 1.12).all()
    # slow parts of the noise itself count as waves of the skin, which the fit accounts for on its own
    assert (by_noise < by_all).all()


def test_what_taking_out_waves_took_from_the_noise_is_given_back() -> None:
    """Less a Gaussian mean of 6 mm, noise of 1.8 px is anticorrelated beyond: a mean looks too sure."""
    by_noise, _ = stated_over_true(1.8, 12)
    assert by_noise[0] > 0.80  # 0.856; 0.748 when it is kept


@pytest.mark.parametrize("own_mm", [0.0, 0.15])
def test_rows_and_columns_with_errors_of_their_own_are_in_the_sd(own_mm: float) -> None:
    """Averaged readings of a sensor leave what each row and column adds: teeth share rows with skin."""
    rng = np.random.default_rng(0)
    y, x = np.indices((130, 150))
    teeth = (np.abs(y - 65) < 8) & (np.abs(x - 75) < 30)
    near = ~teeth & (np.abs(y - 65) < 30)
    weight = teeth / teeth.sum() - near / near.sum()
    off, stated = [], []
    for _ in range(40):
        field = gaussian_filter(rng.normal(size=teeth.shape), 1.5)
        field *= 0.1 / field.std()
        field += own_mm * rng.normal(size=(130, 1)) + own_mm * rng.normal(size=(1, 150))
        noise = map_noise(field, ~teeth, teeth, mm_per_px=0.5, floor_mm=0.0, start=assumed_noise(0.4, 1.5))
        off.append((weight * field).sum())
        stated.append(float(np.sqrt(correlated_meat(weight[None], noise)[0, 0])) * noise.skin_sd_mm)
    # 40 draws know an rms to 11 %; slow rows count as waves of the skin
    ratio = float(np.sqrt(np.mean(np.square(off)) / np.mean(np.square(stated))))
    assert 0.75 < ratio < 1.35
