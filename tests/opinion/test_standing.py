"""The order in which causes are told is that of what is said, and what is ruled out stands last."""

from __future__ import annotations

from types import SimpleNamespace

from bite.fit.causes import Cause
from bite.opinion.explain import Explanations
from bite.opinion.standing import Standing, placed_causes
from bite.opinion.steps import best_of, conclusion_of
from tests.opinion.test_opinion import one


def placed(*causes, none=0.1):
    rest = [one(c, 0.5, chance=0.6, weight=0.0) for c in Cause if c not in {e.cause for e in causes}]
    ranked = Explanations((*causes, *rest), none)
    best = best_of(ranked)
    opinion = SimpleNamespace(
        ranked=ranked, best=tuple(e.cause for e in best), conclusion=conclusion_of(ranked, best)
    )
    return placed_causes(opinion)


def test_what_is_said_comes_first_whatever_weighs_more() -> None:
    lips = one(Cause.LIPS, 50.0, chance=1e-9, weight=0.2)
    forward = one(Cause.FORWARD, 55.0, chance=1e-9, weight=0.7, needs=Cause.LIPS)
    enamel = one(Cause.ENAMEL, 60.0, chance=1e-9, weight=0.8, value=-2.0)
    rows = placed(enamel, forward, lips)
    assert [row.standing for row in rows[:2]] == [Standing.SAID, Standing.BEYOND]
    assert [row.cause.cause for row in rows[:2]] == [Cause.LIPS, Cause.FORWARD]
    assert rows[2].cause is None
    assert rows[-1].cause.cause is Cause.ENAMEL and rows[-1].standing is Standing.OUT
    assert len(rows) == len(Cause) + 1


def test_no_difference_comes_first_where_that_is_said() -> None:
    rows = placed(one(Cause.ROWS, 11.0, chance=0.004, weight=0.31), none=0.41)
    assert rows[0].cause is None and rows[0].standing is Standing.SAID
    assert rows[1].cause.cause is Cause.ROWS and rows[1].standing is Standing.LIGHTER
