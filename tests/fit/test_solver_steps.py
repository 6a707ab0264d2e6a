"""How the solver walks: never beyond a bound, and back where it overshot."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.parameters import COUNT, P
from bite.fit.solver import LEARN_NOISE_ROUNDS, ROUNDS, solve
from tests.fit.readings import Readings, named, open_prior

T, S = P.FORWARD_MM, P.SMOOTHING_PX


def teeth_at(t_mm: float, **settings: object) -> Readings:
    """Five readings that all see the teeth at one place."""
    return Readings(np.full(5, t_mm), named(5, FORWARD_MM=1.0), **settings)  # type: ignore[arg-type]  # a stand-in


def walk(block: Readings, **limits: tuple[float, float]):
    """Solve from zero; give the solution and the forward offsets that were looked at."""
    found = solve([block], open_prior(**limits), np.zeros(COUNT))
    return found, [float(place[T]) for place in block.asked]


def test_one_step_is_enough_for_straight_slopes() -> None:
    found, places = walk(teeth_at(3.0))
    assert places[:2] == [0.0, pytest.approx(3.0)]
    assert found.parameters[T] == pytest.approx(3.0) and found.converged and found.at_bound == ()
    # what nothing tells of stays where it was, and is not said to be known
    others = np.arange(COUNT) != T
    assert not found.parameters[others].any() and not found.covariance[others].any()


def test_a_first_step_beyond_a_bound_ends_on_it() -> None:
    found, places = walk(teeth_at(40.0), FORWARD_MM=(-25.0, 25.0))
    assert max(places) == 25.0
    assert found.parameters[T] == 25.0 and found.at_bound == ("forward_mm",)


def test_a_start_beyond_a_bound_is_brought_to_it() -> None:
    block = teeth_at(0.0)
    start = np.zeros(COUNT)
    start[T] = 30.0
    solve([block], open_prior(FORWARD_MM=(-25.0, 25.0)), start)
    assert block.asked[0][T] == 25.0


def test_a_step_halved_for_swinging_keeps_to_the_bounds() -> None:
    """Forward swings; smoothing, which the same step carries, must not leave its bounds with it."""
    slopes = np.concatenate([named(5, FORWARD_MM=1.0), named(5, SMOOTHING_PX=1.0)])
    block = Readings(np.repeat([-1.0, 50.0], 5), slopes, told_steeper=0.5)
    found, places = walk(block, SMOOTHING_PX=(-2.0, 3.0))
    assert min(places) == pytest.approx(-2.0)  # twice too far, so that it had to come back
    assert max(float(place[S]) for place in block.asked) == 3.0
    assert found.parameters[S] == 3.0 and found.at_bound == ("smoothing_px",)


def test_a_step_halved_for_a_worse_fit_keeps_to_the_bounds() -> None:
    slopes = np.concatenate([named(5, FORWARD_MM=1.0), named(5, SMOOTHING_PX=1.0)])
    block = Readings(np.repeat([1.0, 50.0], 5), slopes, told_steeper=0.2)
    walk(block, SMOOTHING_PX=(-2.0, 3.0))
    assert len(block.asked) > 1 + ROUNDS  # some rounds looked twice
    assert max(float(place[S]) for place in block.asked) == 3.0


def test_a_fit_that_swings_to_and_fro_is_halved() -> None:
    """Slopes told half as steep as they are: every whole step lands as far on the other side, for ever."""
    found, places = walk(teeth_at(1.0, told_steeper=0.5))
    assert places[:3] == [0.0, pytest.approx(2.0), pytest.approx(1.0)]
    assert found.converged and found.parameters[T] == pytest.approx(1.0)


def test_a_step_that_makes_the_fit_worse_is_halved_once_the_noise_is_learned() -> None:
    """Slopes told a fifth as steep: halved for swinging, each step still ends half as far off again."""
    found, places = walk(teeth_at(1.0, told_steeper=0.2))
    off = [abs(place - 1.0) for place in places]
    while_learning = off[: LEARN_NOISE_ROUNDS + 1]
    assert (np.diff(while_learning[1:]) > 0).all()  # costs do not compare yet
    assert abs(found.parameters[T] - 1.0) < 0.1 * while_learning[-1]
    assert found.last_cost < found.first_cost * max(while_learning) ** 2


def test_noise_is_learned_in_the_first_rounds_only() -> None:
    learned: list[int] = []

    class Learning(Readings):
        def with_noise_from(self, seen, parameters, covariance, /):
            learned.append(len(self.asked))
            return self

    block = Learning(np.full(5, 1.0), named(5, FORWARD_MM=1.0), told_steeper=0.2)
    solve([block], open_prior(), np.zeros(COUNT))
    assert learned == [1, 2, 3, 4, 5, 6, 7]  # before the first step and after each of six


def test_three_rounds_at_least_and_eight_at_most() -> None:
    found, _ = walk(teeth_at(1.0))
    assert found.rounds == 3 and found.converged
    # told three times too steep, each step takes a third of what is left
    slow, places = walk(teeth_at(300.0, told_steeper=3.0))
    assert slow.rounds == ROUNDS == len(places) - 1 and not slow.converged
    assert slow.parameters[T] == pytest.approx(300.0 * (1.0 - (2.0 / 3.0) ** ROUNDS))
    assert slow.stop_reason == "still moving after 8 rounds"


@pytest.mark.parametrize(("off_mm", "rounds"), [(0.0099, 3), (0.011, 4)])
def test_an_offset_is_settled_below_a_hundredth_of_a_millimetre(off_mm: float, rounds: int) -> None:
    """Told twice too steep, each step halves what is left: the third is an eighth of the whole way."""
    found, _ = walk(teeth_at(8.0 * off_mm, sd_mm=1e-3, told_steeper=2.0))
    assert found.rounds == rounds and found.converged


def test_a_small_part_of_the_sd_is_settled_too() -> None:
    """Five readings of 1 mm know the offset to 0.447 mm; 3 % of that is enough from the third round on."""
    for part, rounds in ((0.029, 3), (0.031, 4)):
        off_mm = 8.0 * part / np.sqrt(5.0)
        block = teeth_at(off_mm, sd_mm=2.0, told_steeper=2.0)  # told 2 mm and twice as steep: 1 mm in all
        found, _ = walk(block)
        assert found.rounds == rounds and found.converged


def test_from_the_sixth_round_on_a_tenth_of_the_sd_is_enough() -> None:
    """The step of the sixth round is a sixty-fourth of the start's error."""
    for part, rounds in ((0.095, 6), (0.105, 7)):
        block = teeth_at(64.0 * part / np.sqrt(5.0), sd_mm=2.0, told_steeper=2.0)
        found, _ = walk(block)
        assert found.rounds == rounds and found.converged
