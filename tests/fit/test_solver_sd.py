"""The covariance that the solver states, against the same algebra written out on dense matrices."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from bite.fit.linear import Linear
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solution import Solution
from bite.fit.solver import extra_parameter, solve
from tests.fit.readings import Readings, named, open_prior

T, B = P.FORWARD_MM, P.ENAMEL_BIAS_MM
UNKNOWN = [P.HEAD_Z_MM, T, B]
EXACT = 1e-9


def waved(seed: int = 0, **settings: object) -> Readings:
    """Readings of skin and teeth, with waves of the skin as the block's own unknowns, close to the truth."""
    rng = np.random.default_rng(seed)
    teeth = np.arange(40) < 15
    slopes = named(40, HEAD_Z_MM=1.0, FORWARD_MM=-1.0 * teeth, ENAMEL_BIAS_MM=1.0 * teeth)
    own = rng.normal(0.0, 0.5, (40, 3))
    truth = np.zeros(COUNT)
    truth[UNKNOWN] = 0.3, 1.4, 0.2
    # residuals below 1.345 sd: no Huber weight, so that plain algebra is the truth
    measured = slopes @ truth + own @ [0.05, -0.1, 0.02] + rng.uniform(-0.3, 0.3, 40)
    return Readings(measured, slopes, own, np.array([0.1, 0.2, 0.3]), **settings)  # type: ignore[arg-type]  # a stand-in


def believed(head_sd_mm: float = 1.0, bias_sd_mm: float = 0.2) -> Prior:
    sd = np.full(COUNT, np.inf)
    sd[P.HEAD_Z_MM], sd[B] = head_sd_mm, bias_sd_mm
    mean = np.zeros(COUNT)
    mean[B] = 0.2
    return replace(open_prior(), sd=sd, mean=mean)


def generalised(block: Readings, prior: Prior) -> tuple[np.ndarray, np.ndarray]:
    """Answer and covariance of the three unknowns by least squares over the whole covariance of the readings.

    The block's own unknowns never appear: what their priors let them do to the readings is noise of rank
    three. The priors of named unknowns are readings of their own.
    """
    own = block.by_own
    noise = block.sd_mm**2 * np.eye(len(own)) + (own * block.own_sd**2) @ own.T
    inverse = np.linalg.inv(noise)
    design = block.by_named[:, UNKNOWN]
    held = np.diag(prior.precision[UNKNOWN])
    covariance = np.linalg.inv(design.T @ inverse @ design + held)
    answer = covariance @ (design.T @ inverse @ block.measured_mm + held @ prior.mean[UNKNOWN])
    return answer, covariance


def solved(block: Readings, prior: Prior) -> Solution:
    return solve([block], prior, np.zeros(COUNT))


def among(matrix: np.ndarray) -> np.ndarray:
    return matrix[np.ix_(UNKNOWN, UNKNOWN)]


def test_priors_of_a_blocks_own_unknowns_are_part_of_the_sampling_sd() -> None:
    """Waves of the skin that may be there are noise of the answer, though no residual shows them."""
    block, prior = waved(), believed()
    found = solved(block, prior)
    answer, covariance = generalised(block, prior)
    np.testing.assert_allclose(found.parameters[UNKNOWN], answer, atol=EXACT)
    np.testing.assert_allclose(among(found.covariance), covariance, rtol=EXACT, atol=1e-15)
    # what the priors of named unknowns hold is systematic, all the rest sampling
    systematic = covariance @ np.diag(prior.precision[UNKNOWN]) @ covariance
    np.testing.assert_allclose(among(found.systematic), systematic, rtol=EXACT, atol=1e-15)
    np.testing.assert_allclose(among(found.sampling), covariance - systematic, atol=EXACT)


@pytest.mark.slow
def test_the_sampling_sd_is_the_scatter_of_answers_under_waves_as_believed() -> None:
    """The same, drawn: 400 frames with waves from their prior and heads that are known."""
    rng = np.random.default_rng(1)
    block, prior = waved(), believed(head_sd_mm=1e-6, bias_sd_mm=1e-6)
    errors = []
    for _ in range(400):
        readings = block.by_own @ rng.normal(0.0, block.own_sd) + rng.normal(0.0, block.sd_mm, 40)
        drawn = replace(block, measured_mm=readings + 0.2 * block.by_named[:, B])
        errors.append(solved(drawn, prior).parameters[T])
    stated = float(np.sqrt(solved(block, prior).sampling[T, T]))
    # Huber loses 5 % of variance; 400 draws know an sd to 3.5 %, three of them
    assert stated == pytest.approx(float(np.std(errors)) / np.sqrt(1.05), rel=0.11)


def test_scatter_in_the_residuals_widens_the_sampling_sd_and_only_that() -> None:
    block, prior = waved(), believed()
    _, covariance = generalised(block, prior)
    for spread in (1.0, 2.0):
        found = solved(replace(block, spread=spread, all_spread=spread), prior)
        extra = among(found.sampling) - (covariance - among(found.systematic))
        design, own = block.by_named[:, UNKNOWN], block.by_own
        both = np.concatenate([design, own], axis=1) / block.sd_mm
        held = np.diag(np.concatenate([prior.precision[UNKNOWN], block.own_sd**-2]))
        bread = np.linalg.inv(both.T @ both + held)
        expected = (spread - 1.0) * bread @ both.T @ both @ bread
        np.testing.assert_allclose(extra, expected[:3, :3], atol=EXACT)


@pytest.mark.parametrize(
    ("ratio", "widened"),
    [(0.5, 1.0), (1.0, 1.0), (1.2, 1.0), (1.3, 1.075), (1.4, 1.2), (1.5, 1.375), (1.6, 1.6), (4.0, 4.0)],
)
def test_misfit_beyond_noise_and_waves_widens_the_sampling_sd(ratio: float, widened: float) -> None:
    """From 1.2 times the variance on it counts in proportion, from 1.6 times on it stands alone."""
    block = Readings(np.full(9, 1.0), named(9, FORWARD_MM=1.0), spread=1.0, all_spread=ratio)
    found = solved(block, open_prior())
    assert found.sampling[T, T] == pytest.approx(widened * 0.5**2 / 9, rel=1e-6)


def test_misfit_of_one_unknown_does_not_widen_another() -> None:
    rows = [named(9, FORWARD_MM=1.0), named(9, UP_MM=1.0)]

    class Apart(Readings):
        def scatter(self, seen, directions, /, *, whole=False):
            factor = np.sqrt(np.where(np.arange(18) < 9, 4.0 if whole else 1.0, 1.0))
            weighted = self.linear_of(seen).slope * factor[:, None]
            return directions @ (weighted.T @ weighted) @ directions.T

    found = solved(Apart(np.full(18, 1.0), np.concatenate(rows)), open_prior())
    assert found.sampling[T, T] == pytest.approx(4.0 * 0.25 / 9)
    assert found.sampling[P.UP_MM, P.UP_MM] == pytest.approx(0.25 / 9)


def test_shares_are_told_at_a_known_enamel_bias() -> None:
    block, prior = waved(), believed(head_sd_mm=0.05)
    found = solved(block, prior)
    apart = [P.HEAD_Z_MM, T]
    both = np.concatenate([block.by_named[:, apart], block.by_own], axis=1) / block.sd_mm
    own = np.concatenate([[0.0, 0.0], block.own_sd**-2])
    head = np.concatenate([[prior.precision[P.HEAD_Z_MM], 0.0], np.zeros(3)])
    bread = np.linalg.inv(both.T @ both + np.diag(own + head))
    row = bread[1]
    evidence = row @ (both.T @ both + np.diag(own)) @ row / bread[1, 1]
    assert found.evidence_share == {"depth": pytest.approx(evidence)}
    assert found.prior_share == pytest.approx(1.0 - evidence)
    assert 0.05 < found.prior_share < 0.95


def test_fit_status_says_what_it_says() -> None:
    block, prior = waved(), believed()
    found = solved(block, prior)
    residual = (block.measured_mm - block.slopes @ found.parameters) / block.sd_mm
    assert found.chi2_reduced == {"depth": pytest.approx(np.mean(residual**2))}
    assert found.inlier_share == {"depth": 1.0}
    assert found.freedom == 40 - COUNT - 3
    pull = 0.5 * np.sum((found.parameters[UNKNOWN] - prior.mean[UNKNOWN]) ** 2 * prior.precision[UNKNOWN])
    pull += 0.5 * np.sum((found.parameters[COUNT:] / block.own_sd) ** 2)
    assert found.last_cost == pytest.approx(0.5 * np.sum(residual**2) + pull)
    wild = replace(block, measured_mm=block.measured_mm + np.where(np.arange(40) == 20, 5.0, 0.0))
    assert solved(wild, prior).inlier_share == {"depth": 39 / 40}


def test_condition_is_that_of_the_named_unknowns_brought_to_one() -> None:
    block, prior = waved(), believed()
    design = block.by_named[:, UNKNOWN] / block.sd_mm
    matrix = design.T @ design + np.diag(prior.precision[UNKNOWN])
    scale = np.sqrt(np.diag(matrix))
    assert solved(block, prior).condition == pytest.approx(np.linalg.cond(matrix / np.outer(scale, scale)))


class Sharing(Readings):
    """Readings that see the unknowns of the block named depth too, before their own."""

    @property
    def shares_with(self) -> str:
        return "depth"


def test_blocks_that_share_unknowns_are_one_problem() -> None:
    """Lips see the waves of the skin that the depth map brings, and bring readings off as a whole."""
    depth, prior = waved(), believed()
    rng = np.random.default_rng(3)
    first = Readings(rng.uniform(-0.1, 0.1, 5), named(5, UP_MM=1.0), np.ones((5, 1)), np.array([0.4]),
                     name="corners")  # fmt: skip
    shared, own = rng.normal(size=(12, 3)), np.repeat(np.eye(2), 6, axis=0)
    lips = Sharing(
        rng.uniform(-0.2, 0.2, 12),
        named(12, HEAD_Z_MM=0.2),
        np.concatenate([shared, own], axis=1),
        np.array([0.1, 0.15]),
        sd_mm=0.3,
        name="lips",
    )
    found = solve([first, depth, lips], prior, np.zeros(COUNT))
    # all readings of depth and lips with one covariance; the corners know nothing of the three
    design = np.concatenate([depth.by_named, lips.by_named])[:, UNKNOWN]
    reach = np.zeros((52, 5))
    reach[:40, :3], reach[40:, :3], reach[40:, 3:] = depth.by_own, shared, own
    believed_sd = np.concatenate([depth.own_sd, lips.own_sd])
    noise = np.diag(np.repeat([0.5**2, 0.3**2], [40, 12])) + (reach * believed_sd**2) @ reach.T
    held = np.diag(prior.precision[UNKNOWN])
    covariance = np.linalg.inv(design.T @ np.linalg.inv(noise) @ design + held)
    measured = np.concatenate([depth.measured_mm, lips.measured_mm])
    answer = covariance @ (design.T @ np.linalg.inv(noise) @ measured + held @ prior.mean[UNKNOWN])
    np.testing.assert_allclose(found.parameters[UNKNOWN], answer, atol=EXACT)
    np.testing.assert_allclose(among(found.covariance), covariance, rtol=EXACT, atol=1e-15)
    assert [len(columns) for columns in found.columns] == [COUNT + 1, COUNT + 3, COUNT + 5]
    assert sum(found.evidence_share.values()) + found.prior_share == pytest.approx(1.0)


@dataclass(frozen=True)
class Seen:
    depth_mm: np.ndarray
    used: np.ndarray


class Profile(Readings):
    """Readings in the form of a depth profile, of which every third has no reading."""

    @property
    def sigma_mm(self) -> np.ndarray:
        return np.full(len(self.measured_mm), self.sd_mm)

    def predict(self, parameters: np.ndarray, /) -> Seen:
        return Seen(self.slopes @ parameters, np.arange(len(self.measured_mm)) % 3 > 0)

    def linear_of(self, seen: Seen, /) -> Linear:
        linear = Readings.linear_of(self, seen.depth_mm)
        return Linear(linear.residual[seen.used], linear.slope[seen.used], linear.weight[seen.used])

    def slope_rows(self, seen: Seen, slopes: np.ndarray, /) -> np.ndarray:
        return slopes[:, seen.used].T / self.sd_mm

    def scatter(self, seen: Seen, directions, extra=None, *, whole: bool = False) -> np.ndarray:
        slope = self.linear_of(seen).slope
        if extra is not None:
            slope = np.column_stack([slope, self.slope_rows(seen, extra)])
        return directions @ (slope.T @ slope) @ directions.T * (self.all_spread if whole else self.spread)


def test_an_extra_unknown_is_what_a_fit_that_had_it_from_the_start_gives() -> None:
    base, prior = waved(), believed()
    profile = Profile(base.measured_mm, base.by_named, base.by_own, base.own_sd, all_spread=4.0)
    rng = np.random.default_rng(8)
    other = Readings(rng.uniform(0.2, 0.4, 6), named(6, HEAD_Z_MM=1.0), sd_mm=0.3, name="corners")
    slopes = rng.normal(size=40)
    found = solve([profile, other], prior, np.zeros(COUNT))
    value, sd = extra_parameter(found, 0, slopes)

    used = np.arange(40) % 3 > 0
    own = np.column_stack([base.by_named[:, UNKNOWN], base.by_own, slopes])[used] / 0.5
    beside = np.zeros((6, 7))
    beside[:, 0] = 1.0 / 0.3
    held = np.diag(np.concatenate([prior.precision[UNKNOWN], base.own_sd**-2, [0.0]]))
    mean = np.concatenate([prior.mean[UNKNOWN], np.zeros(4)])
    bread = np.linalg.inv(own.T @ own + beside.T @ beside + held)
    right = own.T @ base.measured_mm[used] / 0.5 + beside.T @ other.measured_mm / 0.3 + held @ mean
    assert value == pytest.approx((bread @ right)[-1], rel=1e-6)
    row = bread[-1]
    # its own block speaks with all that is left in its residuals, the other as it is
    variance = row @ (4.0 * own.T @ own + beside.T @ beside) @ row
    assert sd == pytest.approx(np.sqrt(variance), rel=1e-9)


def test_an_extra_unknown_that_others_can_take_the_place_of_is_not_known() -> None:
    base, prior = waved(), replace(believed(), sd=np.full(COUNT, np.inf))
    profile = Profile(base.measured_mm, named(40, FORWARD_MM=1.0))
    found = solve([profile], prior, np.zeros(COUNT))
    assert extra_parameter(found, 0, np.full(40, 3.0)) == (0.0, float("inf"))
