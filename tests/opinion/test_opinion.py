"""What an opinion concludes from a ranking: one cause, a pair, nothing, or that the frame cannot tell."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from bite.fit.causes import UNKNOWNS, Cause
from bite.geometry.rigid import frozen
from bite.opinion.explain import Explained, Explanations, Left
from bite.opinion.steps import CURES, best_of, conclusion_beside, conclusion_of, with_placing
from bite.stats.estimate import Estimate


def one(
    cause: Cause,
    statistic: float,
    *,
    chance: float,
    alike: tuple[Cause, ...] = (),
    sd: float = 0.1,
    value: float = 1.2,
    needs: Cause | None = None,
    weight: float = 0.5,
) -> Explained:
    """Make an explanation that leaves nothing, or one other cause far beyond chance."""
    size = len(UNKNOWNS[cause])
    leaves = tuple(Left(c, 40.0 if c is needs else 1.0, 1e-9 if c is needs else 0.3) for c in Cause)
    return Explained(
        cause, frozen([value] * size), frozen([sd] * size), statistic, chance, weight,
        {"depth on teeth": 1.0},
        tuple((other, 0.98) for other in alike),
        tuple(sorted((left for left in leaves if left.cause is not cause), key=lambda left: left.chance)),
    )  # fmt: skip


def told(*causes: Explained) -> tuple[tuple[Cause, ...], str]:
    rest = [one(c, 0.5, chance=0.6) for c in Cause if c not in {e.cause for e in causes}]
    ranked = Explanations((*causes, *rest), 0.5)
    best = best_of(ranked)
    return tuple(e.cause for e in best), conclusion_of(ranked, best)


def test_a_cause_that_mends_the_other_but_not_the_other_way_round() -> None:
    first = one(Cause.LIPS, 50.0, chance=1e-9)
    best, sentence = told(first, one(Cause.FORWARD, 55.0, chance=1e-9, needs=Cause.LIPS))
    assert best == (Cause.LIPS,) and "lips forward +1.20 +- 0.10 mm" in sentence
    assert "not all of it" not in sentence


def test_two_that_need_each_other_are_not_one() -> None:
    first = one(Cause.LIPS, 50.0, chance=1e-9, needs=Cause.SIZE)
    best, sentence = told(first, one(Cause.SIZE, 40.0, chance=1e-7, needs=Cause.LIPS))
    assert best == (Cause.LIPS,) and "that is not all of it (teeth too small or large too)" in sentence


def test_look_alikes_are_a_pair_with_what_to_shoot() -> None:
    first = one(Cause.FORWARD, 50.0, chance=1e-9, alike=(Cause.ENAMEL,))
    best, sentence = told(first, one(Cause.ENAMEL, 48.0, chance=1e-9, alike=(Cause.FORWARD,)))
    assert best == (Cause.FORWARD, Cause.ENAMEL)
    assert sentence.startswith("cannot tell teeth forward or back from enamel seen too deep: shoot")


def test_no_sensor_sees_enamel_two_millimetres_too_near() -> None:
    first = one(Cause.FORWARD, 50.0, chance=1e-9)
    best, _ = told(first, one(Cause.ENAMEL, 52.0, chance=1e-9, value=-2.0))
    assert best == (Cause.FORWARD,)


@pytest.mark.parametrize(
    ("sd", "start"), [(0.1, "no difference found"), (0.4, "cannot tell: nothing is beyond")]
)
def test_nothing_found_is_told_from_nothing_seen(sd: float, start: str) -> None:
    best, sentence = told(one(Cause.FORWARD, 1.0, chance=0.3, sd=sd))
    assert best == () and sentence.startswith(start)


def test_a_check_that_finds_more_is_not_talked_down() -> None:
    ranked = Explanations(tuple(one(c, 1.0, chance=0.3) for c in Cause), 0.5)
    assert conclusion_of(ranked, (), offset=Estimate(0.9, 0.2)).startswith(
        "cannot tell: bite check finds +0.90"
    )
    assert conclusion_of(ranked, (), offset=Estimate(0.3, 0.1)).startswith("no difference found")


def test_nine_looks_are_paid_for() -> None:
    assert told(one(Cause.SIZE, 6.0, chance=0.01))[0] == ()
    assert told(one(Cause.SIZE, 8.0, chance=0.004))[0] == (Cause.SIZE,)


def test_every_cause_has_a_cure() -> None:
    assert set(CURES) == set(UNKNOWNS) == set(Cause)


def test_what_weighs_less_than_no_difference_is_no_headline() -> None:
    best, sentence = told(one(Cause.ROWS, 11.0, chance=0.004, weight=0.31))
    assert best == ()
    assert sentence == "no difference found: rows apart weighs less (31 %) than no difference at all (50 %)"
    assert told(one(Cause.ROWS, 11.0, chance=0.004, weight=0.5))[0] == (Cause.ROWS,)


def test_a_cause_that_cannot_be_is_not_told_as_no_difference() -> None:
    best, sentence = told(one(Cause.ENAMEL, 52.0, chance=1e-9, value=-2.0))
    assert best == () and sentence.startswith("cannot tell: enamel seen too deep would explain it")


def test_a_head_that_was_laid_on_the_skin_first_is_told_first_with_all_of_its_way() -> None:
    placed = SimpleNamespace(shift=np.array([0.1, -0.2, 8.0]), shift_mm=8.0, turn_deg=0.3)
    ranked = Explanations(tuple(one(c, 0.5, chance=0.6, value=0.1) for c in Cause), 0.9)
    moved = {e.cause: e.value for e in with_placing(ranked, placed).causes}  # type: ignore[arg-type]  # a stand-in
    assert np.allclose(moved[Cause.HEAD], [0.2, -0.1, 8.1]) and np.allclose(moved[Cause.SIZE], 0.1)
    said = conclusion_beside(placed, "no difference found")  # type: ignore[arg-type]  # a stand-in
    assert said.startswith("whole head off: it stands 8.0 mm and 0.3 degrees")
    assert said.endswith("once laid there, no difference found")
    assert with_placing(ranked, None) is ranked and conclusion_beside(None, "x") == "x"
