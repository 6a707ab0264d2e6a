"""The lip line as evidence: its slopes, its scatter, and what it shares with the depth map."""

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.causes import ALL_UNKNOWNS, UNKNOWNS, Cause
from bite.fit.lip_block import AS_ONE, LEAST_SD_MM, LipBlock
from bite.fit.parameters import COUNT, HEAD_TURN, P
from bite.geometry.teeth import SKIN
from tests.fit.test_slopes import PLACE, SIDE, camera, central, plane_head

WAVES = 3


def lips(count: int = 6) -> LipBlock:
    """Places on two lips, seen from the side, that three waves move each in its own way."""
    rng = np.random.default_rng(5)
    outward = rng.normal(size=(count, 2))
    return LipBlock(
        head=plane_head(SKIN),
        camera=camera(SIDE),
        points_mm=rng.normal([0, 0, 300], [12, 5, 2], (count, 3)),
        own_moves_mm=rng.normal(size=(count, WAVES, 3)),
        outward=outward / np.linalg.norm(outward, axis=1)[:, None],
        off_px=rng.normal(size=count),
        upper=np.arange(count) < count // 2,
        key=np.arange(count),
        mm_per_px=1.0,
        sd_mm=0.25,
    )


def test_slopes_agree_with_central_differences() -> None:
    block = lips()
    at = np.concatenate([PLACE, [0.3, -0.2, 0.1], [0.05, -0.04]])
    slope = block.predict(at).slope
    for index in range(len(at)):
        numeric = -central(lambda p: block.predict(p).residual, at, index, 1e-4)
        # truncation of central differences at 1e-4 is about 1e-9, rounding 1e-11 / 1e-4
        assert slope[:, index] == pytest.approx(numeric, abs=1e-6 * max(np.abs(numeric).max(), 1e-2)), index


def test_teeth_do_not_move_the_lips() -> None:
    slope = lips().predict(np.zeros(COUNT + WAVES + 2)).slope
    teeth = [P.FORWARD_MM, P.RIGHT_MM, P.UP_MM, P.SMOOTHING_PX, P.ENAMEL_BIAS_MM, P.LOG_SIZE]
    assert not slope[:, teeth].any()
    assert slope[:, P.HEAD_Y_MM].any() and slope[:, COUNT : COUNT + WAVES].any()


def test_where_it_was_solved_the_lip_is_as_far_off_as_it_was_read() -> None:
    block = lips()
    seen = block.predict(np.zeros(COUNT + WAVES + 2))
    assert seen.residual * block.sd_mm == pytest.approx(block.off_px * block.mm_per_px)
    one_off = np.concatenate([np.zeros(COUNT + WAVES), [0.1, 0.0]])
    changed = block.predict(one_off).residual - seen.residual
    assert changed == pytest.approx(np.where(block.upper, -0.1 / block.sd_mm, 0.0))


def test_lips_that_were_solved_elsewhere_count_less() -> None:
    """A common error is no scatter about a median: it is learned about zero."""
    block = replace(lips(), off_px=np.full(6, 0.8))
    at = np.zeros(COUNT + WAVES + 2)
    learned = block.with_noise_from(block.predict(at), at, None)
    assert learned.sd_mm == pytest.approx(0.8 * 1.4826, rel=1e-3)
    near = replace(block, off_px=np.full(6, 0.001))
    assert near.with_noise_from(near.predict(at), at, None).sd_mm == LEAST_SD_MM


def test_neighbours_count_as_one() -> None:
    block = lips()
    seen = block.predict(np.zeros(COUNT + WAVES + 2))
    assert seen.weight == pytest.approx(np.full(6, 1.0 / AS_ONE))
    direction = np.zeros((1, seen.slope.shape[1]))
    direction[0, P.HEAD_Y_MM] = 1.0
    assert block.scatter(seen, direction).item() == pytest.approx(seen.information[P.HEAD_Y_MM, P.HEAD_Y_MM])


@pytest.mark.parametrize(("cause", "which"), [(Cause.LIPS, 0), *((Cause.HEAD, k) for k in range(3))])
def test_slopes_of_causes_are_what_a_mended_head_does(cause: Cause, which: int) -> None:
    block = lips()
    at = np.concatenate([PLACE, [0.3, -0.2, 0.1], [0.05, -0.04]])
    at[HEAD_TURN] = 0.0  # a mended head is turned with the rest, the head's own shift is not

    def residual(amount: float) -> np.ndarray:
        values = np.zeros(len(UNKNOWNS[cause]))
        values[which] = amount
        return block.with_cause(cause, values).predict(at).residual

    first = [c for c, _ in ALL_UNKNOWNS].index(cause)
    slopes = block.cause_slopes(block.predict(at), at)[first : first + len(UNKNOWNS[cause])]
    numeric = -(residual(1e-4) - residual(-1e-4)) / 2e-4
    # truncation of central differences at 1e-4 is about 1e-9, rounding 1e-11 / 1e-4
    assert np.abs(slopes[which] - numeric).max() < 1e-6 * np.abs(slopes).max()
    assert np.abs(slopes).max() > 0.01


@pytest.mark.parametrize("cause", [c for c in Cause if c not in (Cause.LIPS, Cause.HEAD)])
def test_teeth_and_sensors_do_not_move_the_lip_line(cause: Cause) -> None:
    block = lips()
    at = np.concatenate([PLACE, [0.3, -0.2, 0.1], [0.05, -0.04]])
    mine = [k for k, (c, _) in enumerate(ALL_UNKNOWNS) if c is cause]
    assert not block.cause_slopes(block.predict(at), at)[mine].any()
    if cause is not Cause.ENAMEL:  # which is a matter of the prior
        moved = block.with_cause(cause, np.full(len(mine), 0.5))
        np.testing.assert_array_equal(moved.predict(at).residual, block.predict(at).residual)
