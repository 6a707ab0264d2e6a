"""Two looks at one depth profile: whether they are, and how well the difference of their offsets is known.

`difference.py` counts profiles as if their errors were independent. They are not: readings, enamel and
device are the same in both looks. What is left has two parts. Readings and lips weigh a little differently in
the two looks. And a line only says roughly what a move does to it, above all where its steps stand.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bite.errors import InputError
from bite.files.profile import DepthProfile
from bite.fit.block import Look, of_kind
from bite.fit.clipping import clipped_bread
from bite.fit.parameters import P, Prior
from bite.fit.profile_block import ProfileBlock, ProfilePrediction
from bite.geometry.rigid import Array
from bite.recheck.difference import AtRest

MOTION_SHARE = 0.03
"""Error of a move along one line that its readings do not show, as a share of the move. Our choice: with it
the intervals of simulated frames hold (`python -m tests.coverage.recheck --profile`)."""
REACH_SMOOTHINGS = 4.0
"""Readings apart by so many sds of the sensor's smoothing disagree independently (our choice)."""


@dataclass(frozen=True, slots=True)
class LineDifference:
    """What one profile brings to the sd of the difference of two offsets, mm.

    Parameters
    ----------
    apart_mm : float, what it would bring if the two looks shared nothing
    readings_mm : float, from readings and lips, subtracted reading by reading
    model_mm : float, from what a line does not say of a move
    """

    apart_mm: float
    readings_mm: float
    model_mm: float


def refuse_other_profile(
    name: str, against: str, first: DepthProfile | None, second: DepthProfile | None
) -> None:
    """Refuse two looks whose measured depths along the line differ; solved depths and labels may.

    Raises
    ------
    InputError
        Naming the profile that the other look lacks, or that differs.
    """
    if first is None and second is None:
        return
    if first is None or second is None:
        what = f"{against if first is None else 'this look'} has no depth profile, and the other look has one"
        raise InputError(name, "[depth]", what, "recheck the same depth with the model solved again")
    if _same(first.along_mm, second.along_mm) and _same(first.depth_mm, second.depth_mm):
        return
    path = Path(second.path)
    what = f"along_mm or depth_mm is not that of {against}, so this is another bite frame"
    raise InputError(path, "", what, "write the new solved_depth_mm beside the same measured depths")


def difference_on_line(before: AtRest, after: AtRest, prior: Prior) -> LineDifference | None:
    """Give what the profile that two looks share brings to their difference; None where they share none.

    The weight of each reading in either offset is subtracted, and what is left is sent through the noise of
    the block. Were the model of a move exact, both looks would predict the same depths; where they do not,
    the disagreement of neighbouring readings is added up with Bartlett's window.

    Source: Newey and West 1987, Econometrica 55:703 (the window and its sum; from memory).

    Parameters
    ----------
    before, after : AtRest
    prior : Prior, of both
    """
    one, two = (_on_line(look, prior) for look in (before, after))
    if one is None or two is None or not _same_readings(one.block, two.block):
        return None
    both = one.seen.used & two.seen.used
    disagree = np.where(both, one.seen.depth_mm - two.seen.depth_mm, 0.0)
    per_mm = 0.5 * (one.push / one.block.sigma_mm + two.push / two.block.sigma_mm)
    smoothing = max(float(look.solution.parameters[P.SMOOTHING_PX]) for look in (before, after))
    shown = _window_sum(per_mm * disagree, int(np.ceil(REACH_SMOOTHINGS * smoothing)))
    hidden = MOTION_SHARE * (before.offset_mm - after.offset_mm)
    left = one.push - two.push
    return LineDifference(
        float(np.sqrt(one.alone + two.alone)),
        float(np.sqrt(max(_through_noise(one, left), _through_noise(two, left)))),
        float(np.sqrt(shown + hidden**2)),
    )


@dataclass(frozen=True, slots=True)
class _OnLine:
    """The profile of one look, how the offset answers to each residual over sigma, and its own variance."""

    block: ProfileBlock
    seen: ProfilePrediction
    push: Array
    alone: float


def _on_line(look: AtRest, prior: Prior) -> _OnLine | None:
    solution = look.solution
    precision = np.concatenate([prior.precision, *(block.extra_precision for block in solution.blocks)])
    answer = clipped_bread(solution, precision)[P.FORWARD_MM]
    block = of_kind(solution.blocks, ProfileBlock)
    if block is None:
        return None
    number = solution.number_of(block)
    seen, direction = solution.seen[number], answer[solution.columns[number]]
    linear = block.linear_of(seen)
    push = np.zeros(len(block.along_mm))
    push[seen.used] = linear.slope @ direction * linear.robust_weight
    return _OnLine(block, seen, push, block.alone(Look(block, seen, linear, direction)))


def _same_readings(one: ProfileBlock, two: ProfileBlock) -> bool:
    return _same(one.along_mm, two.along_mm) and _same(one.measured_mm, two.measured_mm)


def _same(one: Array, two: Array) -> bool:
    return one.shape == two.shape and bool(np.allclose(one, two, rtol=0.0, atol=1e-6, equal_nan=True))


def _through_noise(line: _OnLine, push: Array) -> float:
    """Give the variance that a push on each residual brings; readings that went unused stand alone."""
    block, used = line.block, line.seen.used
    slope = np.zeros(len(push))
    slope[used] = push[used] / (block.linear_of(line.seen).robust_weight / block.sigma_mm[used])
    only = np.zeros((1, line.seen.slopes.shape[1] + 1))
    only[0, -1] = 1.0
    unused = float((push[~used] ** 2).sum()) * block.inflation
    return block.scatter(line.seen, only, slope[None]).item() + unused


def _window_sum(values: Array, reach: int) -> float:
    """Give the variance of a sum of values that go together up to a reach."""
    total = float(values @ values)
    for lag in range(1, min(reach, len(values) - 1) + 1):
        total += 2.0 * (1.0 - lag / (reach + 1.0)) * float(values[lag:] @ values[:-lag])
    return max(total, 0.0)
