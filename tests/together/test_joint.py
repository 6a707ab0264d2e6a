"""Several frames together: information of frames, its sum, the spread between them, turned frames."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from bite.errors import DegenerateGeometryError
from bite.fit.offset import fit_offset
from bite.fit.parameters import COUNT, P, make_prior
from bite.stats.estimate import Z95
from bite.stats.pooling import Spread, pool
from bite.stats.spread import SpreadNodes, believed_spreads, one_spread, spread_told
from bite.together.added_information import Placed, Shared, add_information, marginal_of, shares
from bite.together.frame_information import SHARED, FrameInformation, information_of_fit, linearised_frame
from bite.together.joint import JointFrame, fit_joint
from tests.coverage.corner_scene import PRIOR, bound_sd_mm, corner_frame, draw_planted, performer
from tests.coverage.together import CASES, run, told

BIAS = make_prior(enamel_bias_mm=0.15, enamel_bias_sd_mm=0.08)


def depth_information(value: float, sd: float, skin: float = 0.0) -> FrameInformation:
    """A frame that sees forward and enamel bias as one, as a depth map does."""
    along = np.array([1.0, 0.0, 0.0, 0.0, -1.0])
    information = np.outer(along, along) / sd**2 + np.diag([0.0, 100.0, 100.0, 1.0, 0.0])
    return FrameInformation(information, along * value / sd**2, skin)


def together(values, sds, leave_one_out=True):
    frames = [
        JointFrame(str(k), "d", BIAS, depth_information(value, sd), None)
        for k, (value, sd) in enumerate(zip(values, sds, strict=True))
    ]
    return fit_joint(frames, leave_one_out=leave_one_out)


def test_a_known_spread_gives_the_textbook_mean() -> None:
    values, sds = np.array([1.2, 0.7, 1.9, 1.4]), np.array([0.1, 0.15, 0.2, 0.12])
    dl = pool(values, sds, spread=Spread.DERSIMONIAN_LAIRD)
    assert dl.tau is not None
    place = np.arange(5)
    nodes = one_spread(np.array([dl.tau, 0.0, 0.0]))
    placed = [Placed(depth_information(v, s), place) for v, s in zip(values, sds, strict=True)]
    frames = [marginal_of(one, nodes) for one in placed]
    # a bias known exactly, so that the frames have nothing in common
    shared = Shared(np.zeros(5), np.array([0.0, 0.25, 0.25, 200.0, 1e12]))
    added = add_information(frames, shared, nodes)
    # 1e12 of prior precision beside 1e2 leaves about 1e-10 of each
    assert added.mean[0, 0] == pytest.approx(dl.mean, rel=1e-8)
    assert np.sqrt(added.covariance[0, 0, 0]) == pytest.approx(dl.se, rel=1e-8)
    assert shares(frames, added) == pytest.approx(dl.weights, rel=1e-8)


def test_what_frames_share_is_not_averaged_down() -> None:
    many = together(np.full(200, 1.0), np.full(200, 0.1), leave_one_out=False)
    assert many.common_sd_mm == pytest.approx(0.08, rel=0.01)
    assert many.offset.sd > 0.08
    own_bias = [JointFrame(str(k), f"d{k}", BIAS, depth_information(1.0, 0.1), None) for k in range(20)]
    apart = fit_joint(own_bias, leave_one_out=False)
    # twenty devices with a bias of their own: sqrt(20) less of it
    assert apart.common_sd_mm == pytest.approx(0.08 / np.sqrt(20), rel=0.05)


def test_slow_skin_errors_may_be_the_same_in_every_frame() -> None:
    frames = [depth_information(1.0, 0.1, skin) for skin in (0.07, 0.07)]
    two = fit_joint([JointFrame(str(k), "d", BIAS, one, None) for k, one in enumerate(frames)])
    plain = together([1.0, 1.0], [0.1, 0.1])
    # one error in both: 0.07^2 instead of half of it, on top of the bias
    assert two.common_sd_mm**2 - plain.common_sd_mm**2 == pytest.approx(0.5 * 0.07**2, rel=1e-6)


def test_frames_in_any_order_give_the_same_and_a_dial_in_between_shifts() -> None:
    values, sds = [1.0, 1.3, 0.8], [0.1, 0.2, 0.15]
    found, turned = together(values, sds), together(values[::-1], sds[::-1])
    assert turned.offset.value == pytest.approx(found.offset.value, abs=1e-9)
    moved = fit_joint(
        [
            JointFrame(str(k), "d", BIAS, depth_information(v - 0.7 * k, s), None, 0.7 * k)
            for k, (v, s) in enumerate(zip(values, sds, strict=True))
        ]
    )
    assert moved.offset.value == pytest.approx(found.offset.value, abs=1e-9)
    assert moved.offset.sd == pytest.approx(found.offset.sd, rel=1e-9)


def test_an_odd_frame_is_named_and_none_is_where_all_agree() -> None:
    found = together([1.0, 1.1, 0.95, 3.0], [0.1, 0.12, 0.11, 0.1])
    chances = [held.chance for held in found.without]
    assert int(np.argmin(chances)) == 3 and chances[3] < 0.05 / 4
    assert found.without[3].apart is not None and found.without[3].offset is not None
    # 2 mm ahead, less the common bias that cancels
    assert found.without[3].apart.value == pytest.approx(1.98, abs=0.05)
    assert found.without[3].offset.value == pytest.approx(1.02 + 0.15, abs=0.05)
    calm = together([1.0, 1.1, 0.95, 1.05], [0.1, 0.12, 0.11, 0.1])
    assert min(held.chance for held in calm.without) > 0.05 / 4
    assert calm.offset.sd < found.offset.sd


def test_one_frame_alone_gets_back_what_its_fit_told() -> None:
    rng = np.random.default_rng(5)
    block = corner_frame(rng, performer(0), draw_planted(rng), views=2).block
    fit = fit_offset([block], PRIOR)
    found = information_of_fit(fit, PRIOR)
    shared = Shared(PRIOR.mean[list(SHARED)], PRIOR.precision[list(SHARED)])
    none = one_spread(np.zeros(3))
    added = add_information([marginal_of(Placed(found, np.arange(5)), none)], shared, none)
    assert added.mean[0, 0] == pytest.approx(fit.offset.value, abs=1e-6)
    assert np.sqrt(added.covariance[0, 0, 0]) == pytest.approx(fit.offset.sd, rel=1e-6)


@pytest.mark.slow
def test_two_frames_added_are_the_fit_of_all_clicks_at_once() -> None:
    """Turned frames by the joint fit, against SciPy on all residuals and priors of all frames."""
    rng = np.random.default_rng(8)
    planted = draw_planted(rng)
    blocks = [corner_frame(rng, performer(1), planted, turn_deg=turn).block for turn in (0.0, 20.0, -20.0)]

    def parameters(x, k):
        full = np.zeros(COUNT)
        full[:6] = x[5 + 6 * k : 11 + 6 * k] * PRIOR.sd[:6]
        full[list(SHARED)] = x[:5]
        full[P.SMOOTHING_PX] = PRIOR.mean[P.SMOOTHING_PX]
        return full

    def residuals(x):
        shared = (x[:5] - PRIOR.mean[list(SHARED)]) / PRIOR.sd[list(SHARED)]
        rows = [b.predict(parameters(x, k)).residual for k, b in enumerate(blocks)]
        return np.concatenate([shared, x[5:], *rows])

    whole = least_squares(residuals, np.zeros(5 + 18), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    at = [parameters(whole.x, k) for k in range(3)]
    linearised = [linearised_frame(b, PRIOR, p, robust=False) for b, p in zip(blocks, at, strict=True)]
    shared = Shared(PRIOR.mean[list(SHARED)], PRIOR.precision[list(SHARED)])
    none = one_spread(np.zeros(3))
    placed = [Placed(t.information, np.arange(5)) for t in linearised]
    added = add_information([marginal_of(one, none) for one in placed], shared, none)
    # at the optimum a step stays where it is; SciPy stops at about 1e-7 of the scale
    assert added.mean[0] == pytest.approx(whole.x[:5], abs=1e-5)
    covariance = np.linalg.inv(whole.jac.T @ whole.jac)
    # SciPy's slopes are forward differences
    assert np.sqrt(added.covariance[0, 0, 0]) == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-4)


def test_information_slopes_as_its_likelihood_does() -> None:
    """Pull and information against central differences of the cost with the head fitted anew each time."""
    rng = np.random.default_rng(3)
    block = corner_frame(rng, performer(2), draw_planted(rng), turn_deg=15.0).block
    at = np.zeros(COUNT)
    about = linearised_frame(block, PRIOR, at, robust=False)

    def cost(x):
        # linear in head and shared unknowns about the same point, so that the information is exact
        linear = block.predict(at)
        slopes = linear.slope
        left = linear.residual - slopes[:, list(SHARED)] @ (x - at[list(SHARED)])
        rows = np.vstack([slopes[:, :6], np.diag(1.0 / PRIOR.sd[:6])])
        right = np.concatenate([left, np.zeros(6)])
        head = np.linalg.lstsq(rows, right, rcond=None)[0]
        return 0.5 * float(((right - rows @ head) ** 2).sum())

    for k in range(len(SHARED) - 1):
        step = np.zeros(len(SHARED))
        step[k] = 1e-2
        slope = (cost(step) - cost(-step)) / 2e-2
        bend = (cost(step) + cost(-step) - 2 * cost(np.zeros(len(SHARED)))) / 1e-4
        # quadratic: differences are exact but for rounding of a cost of 1e5
        assert -about.information.vector[k] == pytest.approx(slope, rel=1e-6, abs=1e-3)
        assert about.information.information[k, k] == pytest.approx(bend, rel=1e-5)


def test_turned_frames_tell_depth_that_none_of_them_has_alone() -> None:
    rng = np.random.default_rng(12)
    planted = draw_planted(rng)
    frames = [corner_frame(rng, performer(3), planted, turn_deg=turn) for turn in (0.0, 20.0, -20.0)]
    found = fit_joint([JointFrame(str(k), "d", PRIOR, None, f.block) for k, f in enumerate(frames)])
    assert found.converged
    assert abs(found.offset.value - planted.teeth_mm[0]) < 3 * found.offset.sd
    assert bound_sd_mm(frames) < found.offset.sd < 0.6
    assert all(len(p) == COUNT for p in found.parameters)
    facing = [corner_frame(rng, performer(3), planted, turn_deg=0.0) for _ in range(3)]
    flat = fit_joint([JointFrame(str(k), "d", PRIOR, None, f.block) for k, f in enumerate(facing)])
    # three times the same look: what turning adds is missing
    assert flat.offset.sd > 4 * found.offset.sd


def test_one_frame_or_nothing_known_is_refused() -> None:
    with pytest.raises(DegenerateGeometryError, match="two frames"):
        fit_joint([JointFrame("a", "d", BIAS, depth_information(1.0, 0.1), None)])
    nothing = FrameInformation(np.zeros((5, 5)), np.zeros(5))
    with pytest.raises(DegenerateGeometryError, match="leave open"):
        fit_joint([JointFrame(str(k), "d", BIAS, nothing, None) for k in range(2)])


def test_the_spread_is_believed_first_and_found_with_many() -> None:
    nodes = believed_spreads()
    prior = spread_told(nodes, nodes.weight / nodes.weight.sum())
    assert prior.median_mm == pytest.approx(0.296, abs=0.01)
    rng = np.random.default_rng(4)
    many = together(1.0 + rng.normal(0, 0.5, 30), np.full(30, 0.05), leave_one_out=False)
    low, high = many.spread.interval_mm
    assert low < 0.5 < high and high - low < 0.35
    single = spread_told(SpreadNodes(nodes.mm[:1], nodes.weight[:1]), np.ones(1))
    assert single.median_mm == pytest.approx(nodes.mm[0, 0])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "count", "least"),
    # binomial at 95 %: fewer than 70 of 80 once in 1,800, fewer than 25 of 32 once in 5,000
    [
        ("one frame, two views", 80, 70),
        ("three turned frames, spread as believed", 32, 25),
        ("5 depth frames, spread 0.3 mm", 80, 70),
    ],
)
def test_intervals_hold_the_truth(case: str, count: int, least: int) -> None:
    outcomes = run(case, count, 5000)
    hits = sum(abs(o.error_mm) <= Z95 * o.sd_mm for o in outcomes)
    assert hits >= least, told(case, outcomes)
    error = np.array([o.error_mm / o.sd_mm for o in outcomes])
    # the rms of n standardised errors scatters by 1 / sqrt(2 n); 3.5 of that either way
    assert abs(np.sqrt(np.mean(error**2)) - 1.0) < 3.5 / np.sqrt(2 * count), told(case, outcomes)


@pytest.mark.slow
def test_every_case_of_the_study_runs() -> None:
    for name in CASES:
        assert name in told(name, run(name, 2, 7))


def test_a_frame_without_axes_of_its_own_speaks_of_forward_alone() -> None:
    rng = np.random.default_rng(6)
    block = corner_frame(rng, performer(0), draw_planted(rng), views=2).block
    fit = fit_offset([block], PRIOR)
    found = information_of_fit(fit, PRIOR, own_axes=False)
    aside = [SHARED.index(p) for p in (P.RIGHT_MM, P.UP_MM, P.LOG_SIZE)]
    assert not found.information[aside].any() and not found.information[:, aside].any()
    shared = Shared(PRIOR.mean[list(SHARED)], PRIOR.precision[list(SHARED)])
    none = one_spread(np.zeros(3))
    added = add_information([marginal_of(Placed(found, np.arange(5)), none)], shared, none)
    assert added.mean[0, 0] == pytest.approx(fit.offset.value, abs=1e-6)
    # what sideways and size priors leave open is its own part now
    assert np.sqrt(added.covariance[0, 0, 0]) == pytest.approx(fit.offset.sd, rel=1e-6)
