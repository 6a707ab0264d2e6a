"""The solver against an independent one, and the properties an honest covariance must have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from bite.errors import DegenerateGeometryError
from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.head import Head
from bite.fit.linear import HUBER, huber_weight, robust_sd
from bite.fit.offset import fit_offset
from bite.fit.parameters import COUNT, P, make_prior
from bite.fit.profile_block import ProfileBlock
from bite.fit.solver import extra_parameter, solve
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector

FRONT = Camera(
    1280, 960, frozen([[1400.0, 0, 640], [0, 1400, 480], [0, 0, 1]]), frozen([0.03, -0.02, 0.001, 0, 0])
)
SIDE = replace(
    FRONT,
    camera_from_reference=Rigid(
        frozen(rotation_from_vector(np.array([0.0, 0.19, 0.0]))), frozen([-60.0, 0, 6.0])
    ),
)
CORNERS = {
    "11d": [-8.3, 0.2, 300.0],
    "21d": [8.4, 0.1, 300.1],
    "11m": [-0.4, 0.0, 299.2],
    "21m": [0.5, 0.0, 299.1],
    "41d": [-5.2, -2.0, 303.1],
    "31d": [5.3, -2.1, 303.0],
}
MARKS = {"subnasale": [0.0, -20.0, 290.0], "cheilion_right": [-25.0, 3.0, 305.0],
         "cheilion_left": [25.0, 3.0, 305.2],
         "pogonion": [0.0, 40.0, 300.0]}  # fmt: skip


def head() -> Head:
    forward = np.array([0.0, 0.14, -0.99]) / np.hypot(0.14, 0.99)
    up = np.array([0.0, -0.99, -0.14]) / np.hypot(0.14, 0.99)
    return Head(
        np.zeros((0, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.int8), np.zeros(0, bool), forward,
        np.cross(up, forward), up, np.array([0.0, 0.0, 301.0]),
        {c: np.array(x) for c, x in CORNERS.items()}, {c: np.array(x) for c, x in MARKS.items()},
    )  # fmt: skip


def clicks(
    truth: np.ndarray, rng: np.random.Generator | None, sigma: float = 0.5, views=(FRONT, SIDE)
) -> CornerBlock:
    names = (*CORNERS, *MARKS)
    use = np.array([Use.CORNER] * len(CORNERS) + [Use.LANDMARK] * len(MARKS), np.int8)
    empty = CornerBlock(
        head(),
        tuple(Clicks(str(k), v, names, use, np.zeros((len(names), 2)), np.full(len(names), sigma))
              for k, v in enumerate(views)),
    )  # fmt: skip
    filled = []
    for view in empty.views:
        pixels, _ = empty.project(view, truth)
        noise = 0.0 if rng is None else rng.normal(0.0, sigma, pixels.shape)
        filled.append(replace(view, pixels=pixels + noise))
    return CornerBlock(head(), tuple(filled))


def profile(truth: np.ndarray, rng: np.random.Generator, noise: float = 0.2) -> ProfileBlock:
    along = np.arange(-25, 25, 0.5)
    teeth = (along > -4) & (along < 5)
    solved = 292 + 0.01 * along**2 + np.where(teeth, 8.0, 0.0)
    block = ProfileBlock(
        along, solved, solved, teeth, teeth & (along > 2), np.full(100, noise), head().forward[[2, 0, 1]]
    )
    block = replace(block, by_motion=np.array([head().forward[2], 0.0, head().up[2]]))
    return replace(block, measured_mm=block.predict(truth).depth_mm + rng.normal(0.0, noise, 100))


TRUTH = np.array([0.2, -0.1, 0.3, 0.004, -0.006, 0.002, 1.4, 0.3, -0.4, 1.8, 0.1, 0.01, 0.5, 0.01])


@pytest.mark.slow
def test_agrees_with_an_independent_solver() -> None:
    """SciPy's trust-region solver at 1e-12 on the same Huber cost; ours stops when t moves less than 0.01
    mm."""
    rng = np.random.default_rng(1)
    blocks = [clicks(TRUTH, rng), profile(TRUTH, rng)]
    blocks[0].views[0].pixels[2] += [9.0, -6.0]  # a wild click, so that the Huber weights matter
    prior = make_prior()
    found = solve(blocks, prior, prior.mean)
    used = found.blocks  # with the noise as learned

    def residuals(p: np.ndarray) -> np.ndarray:
        parts = []
        for block, own in zip(used, found.columns, strict=True):
            linear = block.linear_of(block.predict(p[own]))
            size = np.abs(linear.residual)
            loss = np.where(size <= HUBER, 0.5 * size**2, HUBER * (size - 0.5 * HUBER))
            parts.append(np.sqrt(2.0 * loss * linear.weight) * np.sign(linear.residual))
        parts.append((p - mean) * np.sqrt(precision))
        return np.concatenate(parts)

    precision = np.concatenate([prior.precision, *(block.extra_precision for block in used)])
    mean = np.concatenate([prior.mean, np.zeros(len(precision) - COUNT)])
    best = least_squares(
        residuals, mean, xtol=1e-12, ftol=1e-12, gtol=1e-12, x_scale="jac", max_nfev=2000
    )
    assert found.converged
    assert found.parameters[P.FORWARD_MM] == pytest.approx(best.x[P.FORWARD_MM], abs=0.01)
    # every other unknown within a twentieth of its own sd
    sd = np.sqrt(np.diag(found.covariance))
    assert np.abs((found.parameters - best.x)[:COUNT] / sd).max() < 0.05


def test_two_views_give_the_offset_without_depth() -> None:
    found = fit_offset([clicks(TRUTH, None)], make_prior(enamel_bias_mm=0.1))
    # noise-free clicks: what is left is the pull of the priors, which the stated sd must cover
    assert found.offset.value == pytest.approx(TRUTH[P.FORWARD_MM], abs=found.offset.sd)
    assert found.offset.sd < 1.0
    assert found.smoothing is None


def test_one_view_alone_leaves_the_offset_open() -> None:
    """Two crown widths at 0.5 px and 300 mm leave 2.7 mm at best, and 20 mm with the population's spread."""
    found = fit_offset([clicks(TRUTH, None, views=(FRONT,))], make_prior())
    assert found.offset.sd > 2.0


def test_doubling_all_sigmas_doubles_the_sampling_sd() -> None:
    # what a model's corner is off by does not grow with the clicks' scatter: corners are right here
    wide = make_prior(head_shift_sd_mm=1e4, head_turn_sd_deg=1e4, lateral_sd_mm=1e4, log_size_sd=1e4)
    one, two = (
        fit_offset([replace(clicks(TRUTH, None, sigma), shape_sd_mm=1e-6)], wide) for sigma in (0.5, 1.0)
    )
    # 1e-3: the priors, though wide, are not infinite
    assert two.sampling_sd_mm / one.sampling_sd_mm == pytest.approx(2.0, rel=1e-3)


@pytest.mark.slow
def test_stated_sd_is_the_scatter_of_many_fits() -> None:
    prior = make_prior(enamel_bias_mm=0.1, enamel_bias_sd_mm=1e-6)
    rng = np.random.default_rng(5)
    fits = []
    for _ in range(150):
        truth = TRUTH.copy()
        truth[:6] = rng.normal(0.0, prior.sd[:6])
        truth[P.RIGHT_MM : P.UP_MM + 1] = rng.normal(0.0, 2.0, 2)
        truth[P.LOG_SIZE] = rng.normal(0.0, 0.069)
        fits.append((fit_offset([clicks(truth, rng)], prior).offset, truth[P.FORWARD_MM]))
    scores = np.array([(fit.value - truth) / fit.sd for fit, truth in fits])
    # sd of 150 standardised errors: 1 +- 1/sqrt(300), three times over
    assert np.std(scores) == pytest.approx(1.0, abs=0.18)


def test_no_evidence_is_refused() -> None:
    with pytest.raises(DegenerateGeometryError, match="no evidence"):
        fit_offset([], make_prior())
    names = ("subnasale",)
    only_skin = CornerBlock(
        head(),
        (
            Clicks(
                "a", FRONT, names, np.array([Use.LANDMARK], np.int8), np.array([[640.0, 400.0]]), np.ones(1)
            ),
        ),
    )
    with pytest.raises(DegenerateGeometryError, match="along forward"):
        fit_offset([only_skin], make_prior())


def test_shares_add_up_to_one() -> None:
    rng = np.random.default_rng(3)
    found = fit_offset([clicks(TRUTH, rng), profile(TRUTH, rng)], make_prior()).solution
    assert sum(found.evidence_share.values()) + found.prior_share == pytest.approx(1.0, abs=1e-9)


def test_bias_prior_enters_the_systematic_part_only() -> None:
    rng = np.random.default_rng(4)
    blocks = [profile(TRUTH, rng), clicks(TRUTH, rng, views=(FRONT,))]
    known = fit_offset(blocks, make_prior(enamel_bias_sd_mm=1e-6))
    vague = fit_offset(blocks, make_prior(enamel_bias_sd_mm=0.3))
    assert vague.sampling_sd_mm == pytest.approx(known.sampling_sd_mm, rel=0.02)
    # moved back by b along the axis is moved by b / |forward_z| along forward
    extra = np.sqrt(vague.systematic_sd_mm**2 - known.systematic_sd_mm**2)
    assert extra == pytest.approx(0.3 / abs(head().forward[2]), rel=0.1)
    assert vague.offset.sd >= np.hypot(vague.sampling_sd_mm, extra) - 1e-9


@pytest.mark.slow
def test_an_extra_unknown_is_found_with_an_honest_sd() -> None:
    scores, values = [], []
    for seed in range(80):
        rng = np.random.default_rng(seed)
        block = profile(TRUTH, rng)
        lower = np.where(block.lower, block.predict(TRUTH).slopes[:, P.FORWARD_MM], 0.0)
        planted = replace(block, measured_mm=block.measured_mm + 0.8 * lower)
        found = solve([planted, clicks(TRUTH, rng, views=(FRONT,))], make_prior(), make_prior().mean)
        value, sd = extra_parameter(
            found, 0, np.where(block.lower, found.seen[0].slopes[:, P.FORWARD_MM], 0.0)
        )
        values.append(value)
        scores.append((value - 0.8) / sd)
    # smoothing mixes rows at their border and the fit first shares the shift between them: mean to 0.15,
    # scatter to 30 %
    assert np.mean(values) == pytest.approx(0.8, abs=0.15)
    # the lips of these profiles stand just where they are solved, and the sd allows for 0.3 mm of their own:
    # it is wide
    assert 0.45 < np.std(scores) < 1.3


def test_huber_and_mad() -> None:
    assert huber_weight(np.array([0.0, 1.0, -2.69])).tolist() == pytest.approx([1.0, 1.0, 0.5])
    normal = np.random.default_rng(0).normal(0.0, 2.0, 20_000)
    # sd of the MAD estimate: 2 / sqrt(2 * 0.37 * 20000) = 0.016
    assert robust_sd(normal) == pytest.approx(2.0, abs=0.06)
    assert len(P) == COUNT
