"""What an opinion concludes from a ranking: one cause, a pair, nothing, or that the frame cannot tell."""

from __future__ import annotations

import pytest

from bite.fit.causes import UNKNOWNS, Cause
from bite.fit.explain import Explained, Explanations
from bite.fit.offset import Estimate
from bite.geometry.rigid import frozen
from bite.opinion import CURES, _best, conclusion_of


def one(
    cause: Cause, statistic: float, *, chance: float, alike: tuple[Cause, ...] = (), sd: float = 0.1
) -> Explained:
    size = len(UNKNOWNS[cause])
    return Explained(
        cause, frozen([1.2] * size), frozen([sd] * size), statistic, chance, 0.5, {"depth": 1.0},
        tuple((other, 0.98) for other in alike), 2.0,
    )  # fmt: skip


def told(*causes: Explained) -> tuple[tuple[Cause, ...], str]:
    rest = [one(c, 0.5, chance=0.6) for c in Cause if c not in {e.cause for e in causes}]
    ranked = Explanations((*causes, *rest), 0.5)
    best = _best(ranked)
    return tuple(e.cause for e in best), conclusion_of(ranked, best)


def test_one_cause_far_ahead() -> None:
    best, sentence = told(one(Cause.LIPS, 50.0, chance=1e-9), one(Cause.FORWARD, 30.0, chance=1e-7))
    assert best == (Cause.LIPS,) and "lips forward +1.20 +- 0.10 mm" in sentence


def test_look_alikes_are_a_pair_with_what_to_shoot() -> None:
    first = one(Cause.FORWARD, 50.0, chance=1e-9, alike=(Cause.ENAMEL,))
    best, sentence = told(first, one(Cause.ENAMEL, 48.0, chance=1e-9, alike=(Cause.FORWARD,)))
    assert best == (Cause.FORWARD, Cause.ENAMEL)
    assert sentence.startswith("cannot tell teeth forward or back from enamel seen too deep: shoot")


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
