"""Where each cause stands beside what is said: the order, the word and the place of no difference at all."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bite.opinion.explain import Explained
from bite.opinion.steps import Opinion, is_credible


class Standing(StrEnum):
    """How a cause stands, in the order in which causes are told."""

    SAID = "what is said"
    BEYOND = "beyond chance, and not needed beside what is said"
    LIGHTER = "beyond chance, and lighter than no difference at all"
    CHANCE = "within chance"
    OUT = "ruled out"
    UNSEEN = "not seen by this evidence"


@dataclass(frozen=True, slots=True)
class Placed:
    """One row: a cause, or no difference at all where ``cause`` is None."""

    cause: Explained | None
    standing: Standing
    weight: float


def placed_causes(opinion: Opinion) -> tuple[Placed, ...]:
    """Give every cause and no difference at all, in the order of what is said.

    What is said comes first, then what weighs more; what is ruled out and what is not seen come last.
    """
    ranked = opinion.ranked
    found = {e.cause for e in ranked.found}
    rows = []
    for one in ranked.causes:
        if one.unseen:
            standing = Standing.UNSEEN
        elif one.cause in opinion.best:
            standing = Standing.SAID
        elif one.cause not in found:
            standing = Standing.CHANCE
        elif not is_credible(one):
            standing = Standing.OUT
        else:
            standing = Standing.LIGHTER if one.weight < ranked.weight_of_none else Standing.BEYOND
        rows.append(Placed(one, standing, one.weight))
    none_said = not opinion.best and opinion.conclusion.startswith("no difference")
    rows.append(Placed(None, Standing.SAID if none_said else Standing.CHANCE, ranked.weight_of_none))
    said = {cause: k for k, cause in enumerate(opinion.best)}
    last = (Standing.OUT, Standing.UNSEEN)

    def place(row: Placed) -> tuple[int, int, float]:
        first = 0 if row.standing is Standing.SAID else 1 + (row.standing in last) + (row.standing is last[1])
        among = 0 if row.cause is None else said.get(row.cause.cause, 0)
        return first, among, -row.weight

    return tuple(sorted(rows, key=place))
