"""Noise and covariance of a depth profile against every pair of readings written out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from bite.fit.parameters import COUNT, P
from bite.fit.profile_block import ProfileBlock

N, SPACING_MM = 90, 0.5
MAD = 1.482602219  # reference/robust_constants.toml
AT = np.zeros(COUNT)
AT[P.SMOOTHING_PX] = 1.5


def lines(noise: np.ndarray, sigma_mm: float = 0.2) -> ProfileBlock:
    """A line of lips and teeth whose readings are just what the model predicts, with noise on them."""
    along = SPACING_MM * np.arange(N)
    teeth = (along > 18) & (along < 27)
    solved = 292.0 + 0.004 * (along - 20) ** 2 + np.where(teeth, 7.0, 0.0)
    motion = np.array([-0.98, 0.0, -0.17])[:, None] * np.ones(N)
    body = ProfileBlock(along, solved, solved, teeth, teeth & (along > 23), np.full(N, sigma_mm), motion)
    return replace(body, measured_mm=body.predict(AT).depth_mm + noise)


def drawn(kind: str, sd_mm: float = 0.35) -> np.ndarray:
    noise = np.random.default_rng(7).normal(size=N)
    if kind != "white":
        noise = gaussian_filter1d(noise, 2.0)
    if kind == "flattened":  # as by a fit that took offset, slope and more with it
        noise -= gaussian_filter1d(noise, 10.0)
    noise /= noise.std()
    noise[[7, 70]] += 6.0
    return sd_mm * noise


def learned(kind: str) -> tuple[ProfileBlock, ProfileBlock]:
    body = lines(drawn(kind))
    return body, body.with_noise_from(body.predict(AT), AT, None)


def pair_correlation(body: ProfileBlock, scale: float) -> tuple[np.ndarray, float]:
    """Mean product of all pairs of skin at each lag, held to more than five pairs, tapered, anticorrelation
    beyond half the reach given back; shape (n,); and how much that was."""
    seen = body.predict(AT)
    skin = seen.teeth_share < 0.05
    residual = (body.measured_mm - seen.depth_mm) / body.sigma_mm
    middle = np.median(residual[skin])
    values = np.clip(residual - middle, -3.0 * scale, 3.0 * scale)
    mean, pairs = np.zeros(N), np.zeros(N)
    for lag in range(N):
        both = [values[i] * values[i + lag] for i in range(N - lag) if skin[i] and skin[i + lag]]
        pairs[lag] = len(both)
        mean[lag] = np.mean(both) if len(both) > 5 else 0.0
    reach = min(20.0, 0.25 * (N - 1) * SPACING_MM)
    away = SPACING_MM * np.arange(N)
    far = [mean[k] for k in range(N) if 0.5 * reach < away[k] < 1.5 * reach and pairs[k] > 5]
    taken = max(0.0, -float(np.mean(far)) / mean[0])
    fade = np.where(away < reach, np.cos(0.5 * np.pi * away / reach) ** 2, 0.0)
    return np.asarray((mean / mean[0] + taken) / (1.0 + taken) * fade), taken


@pytest.mark.parametrize("kind", ["white", "correlated", "flattened"])
def test_noise_is_what_every_pair_of_readings_says(kind: str) -> None:
    body, found = learned(kind)
    seen = body.predict(AT)
    skin = seen.teeth_share < 0.05
    residual = ((body.measured_mm - seen.depth_mm) / body.sigma_mm)[skin]
    scale = MAD * np.median(np.abs(residual - np.median(residual)))
    np.testing.assert_allclose(found.sigma_mm, body.sigma_mm * scale, rtol=1e-12)
    expected, taken = pair_correlation(body, scale)
    assert taken > 0.02 or kind != "flattened"
    assert found.correlation is not None
    np.testing.assert_allclose(found.correlation, expected, rtol=0, atol=1e-12)
    assert found.inflation == pytest.approx(max(1.0, expected[0] + 2.0 * expected[1:].sum()))


def test_three_readings_count_as_one_before_any_residual_is_known() -> None:
    assert lines(drawn("white")).inflation == 3.0


def lip_doubt(body: ProfileBlock) -> np.ndarray:
    """What 0.3 mm along the line do to the solved depth, rounded as by a Gaussian of two readings; mm."""
    away = np.arange(-8, 9)
    kernel = np.exp(-0.5 * (away / 2.0) ** 2)
    padded = np.pad(body.solved_mm, 8, mode="symmetric")
    smooth = np.array([np.sum(padded[k : k + 17] * kernel) for k in range(N)]) / kernel.sum()
    slope = np.empty(N)
    slope[1:-1] = (smooth[2:] - smooth[:-2]) / (2 * SPACING_MM)
    slope[[0, -1]] = (smooth[1] - smooth[0]) / SPACING_MM, (smooth[-1] - smooth[-2]) / SPACING_MM
    return 0.3 * slope


def test_readings_beside_a_step_of_the_solved_line_weigh_less() -> None:
    body, found = learned("correlated")
    assert found.inflation > 2.0
    linear = found.linear_of(found.predict(AT))
    expected = 1.0 / found.inflation / (1.0 + (lip_doubt(body) / found.sigma_mm) ** 2)
    np.testing.assert_allclose(linear.weight, expected, rtol=1e-9)
    assert expected.min() < 0.25 * expected.max()


def test_no_variance_is_below_zero() -> None:
    """A correlation that breaks off is that of no noise: some waves would have less than none."""
    box = replace(lines(drawn("white")), correlation=(np.arange(N) < 5) * 1.0)
    check_scatter(box)


@pytest.mark.parametrize("kind", ["white", "correlated", "flattened"])
def test_scatter_is_that_of_the_whole_covariance_matrix(kind: str) -> None:
    check_scatter(learned(kind)[1])


def check_scatter(found: ProfileBlock) -> None:
    """Noise of all readings as one matrix, and each lip off as a whole by 0.3 mm along the line."""
    assert found.correlation is not None
    seen = found.predict(AT)
    linear = found.linear_of(seen)
    extra = np.random.default_rng(2).normal(size=N)
    names = [P.PROFILE_OFFSET_MM, P.FORWARD_MM, P.SMOOTHING_PX]
    slopes = np.column_stack([seen.slopes[:, names], extra]) / found.sigma_mm[:, None]
    size = np.abs(linear.residual)
    weighted = slopes * (linear.weight * np.where(size > 1.345, 1.345 / np.maximum(size, 1e-9), 1.0))[:, None]

    # a ring of twice the length, whose negative powers are cut, so that no variance is below zero
    lag = np.arange(2 * N)
    ring = np.array([found.correlation[min(k, 2 * N - k)] if k != N else 0.0 for k in lag])
    wave = np.exp(-2j * np.pi * np.outer(lag, lag) / (2 * N))
    power = np.maximum((wave @ ring).real, 0.0)
    kept = (wave.conj() @ power).real / (2 * N)
    noise = np.array([[kept[(i - j) % (2 * N)] for j in range(N)] for i in range(N)])
    expected = weighted.T @ noise @ weighted
    doubt = lip_doubt(found) / found.sigma_mm
    middle = found.along_mm[found.teeth].mean()
    for lip in (found.along_mm < middle, found.along_mm >= middle):
        whole = weighted.T @ np.where(lip, doubt, 0.0)
        expected += np.outer(whole, whole)

    directions = np.zeros((4, COUNT + 1))
    for row, column in enumerate([*names, -1]):
        directions[row, column] = 1.0
    scatter = found.scatter(seen, directions, extra[None])
    np.testing.assert_allclose(scatter, expected, rtol=0, atol=1e-9 * np.trace(expected))
    plain = found.scatter(seen, directions[:3, :-1])
    np.testing.assert_allclose(plain, expected[:3, :3], rtol=0, atol=1e-9 * np.trace(expected))


def test_scatter_before_any_residual_is_known() -> None:
    body = lines(drawn("white"))
    seen = body.predict(AT)
    linear = body.linear_of(seen)
    row = linear.slope[:, P.FORWARD_MM] * linear.robust_weight
    direction = np.zeros((1, COUNT))
    direction[0, P.FORWARD_MM] = 1.0
    assert body.scatter(seen, direction).item() == pytest.approx(3.0 * row @ row)


def test_readings_that_are_missing_say_nothing() -> None:
    _, found = learned("white")
    holed = replace(found, measured_mm=np.where(np.arange(N) % 5 == 0, np.nan, found.measured_mm))
    linear = holed.linear_of(holed.predict(AT))
    assert len(linear.residual) == N - N // 5 and np.isfinite(linear.residual).all()
    assert np.isfinite(holed.scatter(holed.predict(AT), np.eye(COUNT))).all()
