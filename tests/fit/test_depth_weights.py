"""What a pixel of a depth map weighs, what its sd is, and what the covariance makes of both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.noise import assumed_noise
from bite.fit.parameters import COUNT, P
from bite.fit.skin_moves import skin_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import frozen
from bite.geometry.teeth import OTHER, SKIN, UPPER
from tests.fit.dense_noise import dense_meat

WIDTH, HEIGHT, FOCAL_PX = 121, 101, 300.0
AXES = (np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), np.array([0.0, -1, 0]))
SIGMA_MM = 0.4


def quad(half_width: float, half_height: float, z_mm: float, turn: float = 0.0) -> np.ndarray:
    """Corners of a rectangle about the optical axis, its depth rising by ``turn`` mm per mm to the right."""
    x, y = half_width * np.array([-1, 1, 1, -1]), half_height * np.array([-1, -1, 1, 1])
    return np.column_stack([x, y, z_mm + turn * x])


def scene(turn: float = 0.0, middle: int = UPPER) -> Head:
    """A wall of skin at 300 mm with a small rectangle of enamel (or of ``middle``) half a mm before it."""
    points = np.concatenate([quad(200.0, 200.0, 300.0, turn), quad(8.5, 4.5, 299.5, turn)])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32)
    part = np.array([SKIN, SKIN, middle, middle], np.int8)
    return Head(points, faces, part, np.arange(8) >= 4, *AXES, np.array([0.0, 0, 300]), {}, {})


def block(head: Head, step_mm: float = 0.0, mm_per_px: float = 1.0) -> DepthBlock:
    """A block whose map is just what the model predicts."""
    matrix = [[FOCAL_PX, 0, 60.0], [0, FOCAL_PX, 50.0], [0, 0, 1]]
    camera = Camera(WIDTH, HEIGHT, frozen(matrix), frozen(np.zeros(5)))
    noise = assumed_noise(SIGMA_MM, 1.5)
    flat = np.full((HEIGHT, WIDTH), 300.0)
    empty = DepthBlock(head, skin_moves(head, 20.0), Grid.of(camera), flat, noise, step_mm, mm_per_px)
    return replace(empty, measured_mm=empty.predict(AT).depth_mm)


AT = np.zeros(COUNT)
AT[P.SMOOTHING_PX] = 1.0


def distance_mm(teeth: np.ndarray) -> np.ndarray:
    """Distance of each pixel to the nearest one with enamel, one by one."""
    y, x = np.nonzero(teeth)
    rows, columns = np.mgrid[: teeth.shape[0], : teeth.shape[1]]
    return np.min(np.hypot(rows[..., None] - y, columns[..., None] - x), axis=2)


def test_far_skin_is_thinned_and_weighs_no_less_for_it() -> None:
    """Beyond 6 mm one pixel of nine stands for nine: together they weigh what all of them would."""
    body = block(scene())
    seen = body.predict(AT)
    away = distance_mm(seen.part == UPPER)
    expected = np.exp(-((away / 20.0) ** 2))
    near = seen.used & (away < 5.5)
    # the half millimetre between enamel and skin is a slope of its own, worth two in a thousand
    np.testing.assert_allclose(seen.weight[near], expected[near], rtol=5e-3)
    far = seen.readable & (away > 6.5)
    assert 0.1 < seen.used[far].mean() < 0.13
    assert seen.weight[far].sum() == pytest.approx(expected[far].sum(), rel=0.03)
    np.testing.assert_allclose(seen.weight[far & seen.used], 9.0 * expected[far & seen.used], rtol=1e-3)


def test_skin_farther_than_five_per_cent_of_weight_is_not_looked_at() -> None:
    seen = block(scene()).predict(AT)
    away = distance_mm(seen.part == UPPER)
    limit = 20.0 * np.sqrt(np.log(20.0))
    assert not seen.readable[away > limit].any()
    assert seen.readable[(away < limit) & (away > limit - 3)].mean() > 0.9


@pytest.mark.parametrize("turn", [0.5, 1.2])
def test_a_steep_surface_is_trusted_less(turn: float) -> None:
    """Map and model agree in the picture to 0.1 px: where depth rises by g mm a pixel, that is 0.1 g mm."""
    body = block(scene(turn))
    seen = body.predict(AT)
    away = distance_mm(seen.part == UPPER)
    # on the plane z = 300 + turn x, with x = z (column - 60) / f: dz/d(column) = turn z / (f - turn column)
    slope_px = turn * seen.depth_mm / (FOCAL_PX - turn * (np.arange(WIDTH) - 60.0))
    expected = np.exp(-((away / 20.0) ** 2)) / (1.0 + (0.1 * slope_px / SIGMA_MM) ** 2)
    plain = seen.used & (away > 2) & (away < 6)
    assert plain.sum() > 100
    np.testing.assert_allclose(seen.weight[plain], expected[plain], rtol=5e-3)


def test_the_rim_of_a_hole_is_trusted_less() -> None:
    """A sensor that lost readings before smoothing and one that did so after differ there."""
    body = block(scene(1.0))
    holed = body.measured_mm.copy()
    holed[44:56, 72:80] = np.nan
    seen, whole = replace(body, measured_mm=holed).predict(AT), body.predict(AT)
    assert not seen.used[44:56, 72:80].any()
    share = seen.weight / np.where(whole.weight > 0, whole.weight, 1.0)
    assert (share[46:54, 71] < 0.95).all()  # beside it
    np.testing.assert_allclose(share[45:55, 66], 1.0, atol=1e-6)  # farther than the kernel reaches


def test_an_exact_map_is_no_better_than_its_storage_step() -> None:
    """A value rounded to steps of a is off by an even error of sd a / sqrt(12)."""
    body = block(scene(), step_mm=0.7)
    hair = 1e-7 * np.random.default_rng(0).normal(size=(HEIGHT, WIDTH))
    body = replace(body, measured_mm=body.measured_mm + hair)
    learned = body.with_noise_from(body.predict(AT), AT, None)
    even = (np.arange(100_000) + 0.5) / 100_000 * 0.7 - 0.35
    assert learned.noise.skin_sd_mm == pytest.approx(float(np.std(even)), rel=1e-6)


def test_pixels_are_noisier_by_their_own_factor() -> None:
    relative = np.ones((HEIGHT, WIDTH))
    relative[:, :60] = 2.5
    body = replace(block(scene()), relative_sd=relative)
    seen = body.predict(AT)
    off = replace(body, measured_mm=body.measured_mm + 0.3)
    residual = np.zeros((HEIGHT, WIDTH))
    residual[seen.used] = off.linear_of(seen).residual
    assert residual[seen.used] == pytest.approx((0.3 / SIGMA_MM / relative)[seen.used])


def test_the_noise_is_learned_free_of_how_unequal_pixels_are() -> None:
    relative = np.ones((HEIGHT, WIDTH))
    relative[:, :60] = 2.5
    noise = np.random.default_rng(0).normal(0.0, 0.3, (HEIGHT, WIDTH)) * relative
    body = replace(block(scene()), relative_sd=relative)
    noisy = replace(body, measured_mm=body.measured_mm + noise)
    learned = noisy.with_noise_from(noisy.predict(AT), AT, None)
    # 2,500 pixels of skin: a MAD knows their sd to 1.7 %; the slow part taken out is 2 % of it
    assert learned.noise.skin_sd_mm == pytest.approx(0.3, rel=0.06)


def test_only_skin_says_how_noisy_skin_is_and_only_enamel_how_noisy_enamel_is() -> None:
    body = block(scene(), mm_per_px=1.0)
    seen = body.predict(AT)
    away = distance_mm(seen.part == UPPER)
    rng = np.random.default_rng(0)
    for loud, factor in (("skin", 1 / 3.0), ("enamel", 3.0)):
        on_skin, on_enamel = (0.5, 0.02) if loud == "skin" else (0.02, 0.5)
        inside = seen.teeth_share > 0.5
        noise = rng.normal(size=seen.part.shape) * np.where(inside, on_enamel, on_skin)
        noise[~inside & (away < 4)] = 0.0
        noisy = replace(body, measured_mm=body.measured_mm + noise)
        learned = noisy.with_noise_from(seen, AT, None).noise
        assert learned.teeth_sd_mm == pytest.approx(factor * learned.skin_sd_mm)


@pytest.mark.parametrize("part", [UPPER, OTHER])
def test_gums_and_tongue_are_no_evidence(part: int) -> None:
    seen = block(scene(middle=part)).predict(AT)
    inside = seen.part == part
    assert seen.used[inside].any() == (part == UPPER)


def test_pixels_that_smoothing_mixed_with_what_is_not_rendered_are_left_out() -> None:
    body = block(scene())
    at = AT.copy()
    at[P.SMOOTHING_PX] = 2.4
    readable = body.predict(at).readable
    assert not readable[:8].any() and not readable[-8:].any()
    assert not readable[:, :8].any() and not readable[:, -8:].any()


def test_scatter_is_that_of_the_whole_covariance_matrix() -> None:
    """Weights, sds and correlation of all pixels as one dense matrix, for noise and for all residuals."""
    body = block(scene(0.3))
    noise = np.random.default_rng(3).normal(0.0, 0.3, (HEIGHT, WIDTH))
    noise += 0.2 * np.sin(np.arange(WIDTH) / 4.0)
    noisy = replace(body, measured_mm=body.measured_mm + noise)
    seen = noisy.predict(AT)
    noisy = noisy.with_noise_from(seen, AT, None)
    said = noisy.noise
    sigma = np.where(seen.teeth_share > 0.5, said.teeth_sd_mm, said.skin_sd_mm)
    residual = np.where(seen.used, noise, 0.0) / sigma
    huber = 1.345 / np.maximum(np.abs(residual), 1.345)
    weight = seen.weight / said.inflation * huber / sigma
    slopes = [seen.slopes[k] for k in (P.HEAD_Z_MM, P.FORWARD_MM, P.SMOOTHING_PX)]
    bump = np.zeros(seen.used.shape)
    bump[seen.used] = seen.own_slopes[:, 4]
    slopes.append(bump)
    extra = np.random.default_rng(4).normal(size=seen.used.shape)
    maps = np.stack([np.where(seen.used, s, 0.0) * weight for s in (*slopes, extra)])
    directions = np.zeros((5, COUNT + len(body.extra_precision) + 1))
    for row, column in enumerate((P.HEAD_Z_MM, P.FORWARD_MM, P.SMOOTHING_PX, COUNT + 4, -1)):
        directions[row, column] = 1.0
    for whole in (False, True):
        spectrum = said.whole_spectrum if whole else said.spectrum
        assert spectrum is not None
        expected = dense_meat(maps, np.fft.irfft2(spectrum, said.padded))
        found = noisy.scatter(seen, directions, extra[None], whole=whole)
        np.testing.assert_allclose(found, expected, rtol=0, atol=1e-9 * np.trace(expected))
        plain = noisy.scatter(seen, directions[:4, :-1], whole=whole)
        np.testing.assert_allclose(plain, expected[:4, :4], rtol=0, atol=1e-9 * np.trace(expected))


def test_a_patch_of_skin_that_stands_off_weighs_less_from_the_second_look_on_and_enamel_does_not() -> None:
    body = block(scene())
    noise = np.random.default_rng(2).normal(0.0, 0.4, (HEIGHT, WIDTH))
    off = np.zeros((HEIGHT, WIDTH))
    off[58:68, 50:70] = -1.0  # a patch of skin below the enamel
    off[48:52, 55:65] = -1.0  # and one of enamel
    body = replace(body, measured_mm=body.measured_mm + noise + off)
    seen = body.predict(AT)
    everything = np.zeros(body.boxy_place + 1)
    everything[P.SMOOTHING_PX] = 1.0
    first = body.with_noise_from(seen, everything, None)
    assert first.trust is None
    learned = first.with_noise_from(seen, everything, 1e-4 * np.eye(len(everything)))
    share = np.where(seen.used, learned.predict(everything).weight, np.nan)
    share /= np.where(seen.used, replace(learned, trust=None).predict(everything).weight, 1.0)
    assert np.nanmean(share[60:66, 54:66]) < 0.3
    assert np.nanmean(share[30:40]) > 0.85
    assert (share[48:52, 55:65] == 1.0).all()


def test_a_patch_that_is_doubted_for_its_misfit_still_counts_in_the_chi_square() -> None:
    trust = np.ones((HEIGHT, WIDTH))
    trust[58:68, 50:70] = 0.01
    plain = block(scene())
    doubted = replace(plain, trust=trust)
    whole, less = plain.predict(AT), doubted.predict(AT)
    assert doubted.linear_of(less).weight.sum() < plain.linear_of(whole).weight.sum()
    np.testing.assert_array_equal(doubted.linear_of(less).plain_weight, whole.weight[whole.used])
