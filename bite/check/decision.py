"""From an offset and findings to a bounded dial value or a refusal, in words a technician can act on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import erf, sqrt

import numpy as np

from bite.check.earned import CANNOT_TELL, CLOSED, rows_seen_to_meet, why_not_usable
from bite.check.finding import Finding, told_first
from bite.files.rig import Dial
from bite.stats.estimate import Z95, Estimate, with_sign

TOLERANCE_MM = 0.5
"""Within this the eye accepts a mouth (common practice, no source)."""
LEAST_TOLD_MM = 0.05
"""What is left over is told to a tenth of a millimetre: less than this would be told as 0.0."""
KNOWN_ENOUGH = 0.8
"""Chance that the teeth already stand within tolerance from which they are left alone (our choice)."""


class Verdict(StrEnum):
    """The answer for one frame."""

    LEAVE = "leave"
    MOVE = "move"
    BEYOND = "beyond"
    UNSURE = "unsure"
    RESHOOT = "reshoot"
    USABLE = "usable"


@dataclass(frozen=True, slots=True)
class DialMove:
    """A proposed dial value.

    Parameters
    ----------
    before, after : float, dial values; ``after`` is within the limits and on a whole step
    stands_for_mm : float, how far the move carries the teeth forward
    left_over_mm : float, what the dial cannot reach, beyond its end or between its steps; 0 where a
        step leaves less than 0.05 mm
    saturated : bool
    interval : (float, float), dial values that the 95 % interval of the offset stands for, clipped to the
        limits, with what is not known of the dial's mm per unit
    """

    before: float
    after: float
    stands_for_mm: float
    left_over_mm: float
    saturated: bool
    interval: tuple[float, float]

    @property
    def tells_left_over(self) -> bool:
        """Whether what is left over is worth a word."""
        return abs(self.left_over_mm) >= LEAST_TOLD_MM


@dataclass(frozen=True, slots=True)
class Decision:
    """The verdict, the dial (None where none can be proposed), why, the tolerance used, and what to do first.

    ``todo`` is the one thing that would settle a refusal; empty where the verdict says it all.
    """

    verdict: Verdict
    move: DialMove | None
    why: str
    tolerance_mm: float
    todo: str = ""


def dial_travel(dial: Dial) -> np.ndarray | None:
    """Give (dial, mm forward) rows over the dial's whole range, rising in dial; None if not measured.

    A travel table that stops short of the limit is continued along its last piece.
    """
    if dial.travel is not None:
        rows = np.asarray(dial.travel, float)
        low, high = rows[:1], rows[-1:]
        if rows[0, 0] > -dial.limit:
            low = _continued(rows[1], rows[0], -dial.limit)
        if rows[-1, 0] < dial.limit:
            high = _continued(rows[-2], rows[-1], dial.limit)
        return np.unique(np.concatenate([low, rows, high]), axis=0)
    if dial.mm_per_unit is None:
        return None
    way = -1.0 if dial.positive_is_back else 1.0
    return np.array([[u * dial.limit, way * u * dial.limit * dial.mm_per_unit] for u in (-1.0, 0.0, 1.0)])


def _continued(start: np.ndarray, end: np.ndarray, value: float) -> np.ndarray:
    """Give the row at a dial value on the line through two rows, shape (1, 2)."""
    slope = (end[1] - start[1]) / (end[0] - start[0])
    return np.array([[value, end[1] + slope * (value - end[0])]])


def stands_at(dial: Dial, value: float) -> float | None:
    """Give where a dial value puts the teeth, mm forward of dial 0; None while the dial is not measured."""
    travel = dial_travel(dial)
    if travel is None:
        return None
    mm = np.interp([value, 0.0], travel[:, 0], travel[:, 1])
    return float(mm[0] - mm[1])


def propose(offset: Estimate, dial: Dial, before: float) -> DialMove | None:
    """Turn an offset into a dial value within the limit, rounded to the step; None if not measured.

    Parameters
    ----------
    offset : Estimate, mm, forward positive
    dial : Dial
    before : float, the dial value that the model was solved with
    """
    travel = dial_travel(dial)
    if travel is None:
        return None
    by_mm = travel[np.argsort(travel[:, 1])]

    def mm_at(value: float) -> float:
        return float(np.interp(value, travel[:, 0], travel[:, 1]))

    def dial_at(mm: float) -> float:
        return float(np.interp(mm, by_mm[:, 1], by_mm[:, 0]))

    lowest, highest = (mm_at(v) for v in (-dial.limit, dial.limit))
    lowest, highest = min(lowest, highest), max(lowest, highest)
    start = mm_at(before)
    wanted = start + offset.value
    reached = min(max(wanted, lowest), highest)
    exact = dial_at(reached) / dial.step
    # halves go away from zero, so that forward and back are treated alike
    steps = int(np.copysign(np.floor(abs(exact) + 0.5 + 1e-9), exact))
    most = int(np.floor(dial.limit / dial.step + 1e-9))
    steps = min(max(steps, -most), most)
    after = round(steps * dial.step, 10) + 0.0
    saturated = bool(wanted < lowest - 1e-9 or wanted > highest + 1e-9)
    left_mm = wanted - mm_at(after)
    gain_sd = dial.mm_per_unit_sd / dial.mm_per_unit if dial.mm_per_unit_sd and dial.mm_per_unit else 0.0
    # a dial that is not known exactly moves the teeth by another share of what is asked
    reach = Estimate(offset.value, float(np.hypot(offset.sd, gain_sd * offset.value)))
    ends = sorted(dial_at(min(max(start + mm, lowest), highest)) for mm in reach.interval)
    return DialMove(
        before=before,
        after=after,
        stands_for_mm=mm_at(after) - start,
        left_over_mm=left_mm if saturated or abs(left_mm) >= LEAST_TOLD_MM else 0.0,
        saturated=saturated,
        interval=(ends[0], ends[1]),
    )


def chance_within(offset: Estimate, tolerance_mm: float) -> float:
    """Give the chance that the true offset lies within +-tolerance, for a normal error.

    Examples
    --------
    >>> round(chance_within(Estimate(0.0, 0.25), 0.5), 4)
    0.9545
    """
    if not offset.sd > 0:
        return float(abs(offset.value) <= tolerance_mm)
    high, low = ((edge - offset.value) / (offset.sd * sqrt(2.0)) for edge in (tolerance_mm, -tolerance_mm))
    return 0.5 * (erf(high) - erf(low))


def way(mm: float) -> str:
    """Say a move in words: '1.4 mm forward'."""
    return f"{abs(mm):.1f} mm {'forward' if mm > 0 else 'back'}"


def decide(
    *,
    solved: bool,
    offset: Estimate | None,
    findings: Sequence[Finding],
    dial: Dial | None,
    dial_before: float | None,
    tolerance_mm: float = TOLERANCE_MM,
    settle: str = "",
) -> Decision:
    """Decide what is to be done.

    Parameters
    ----------
    solved : bool, whether a solved model was given
    offset : Estimate or None, mm
    findings : sequence of Finding
    dial, dial_before : the rig's dial and the value the model was solved with, where there is a rig
    tolerance_mm : float, mm
    settle : str, which evidence would settle an unsure offset
    """
    move = propose(offset, dial, dial_before) if offset and dial and dial_before is not None else None
    failed = told_first(findings)
    again = [finding for finding in failed if finding.needs_reshoot]
    if again:
        return Decision(
            Verdict.RESHOOT, move, f"this frame cannot register a bite: {again[0].text}", tolerance_mm
        )
    if not solved:
        if failed:
            return Decision(Verdict.RESHOOT, None, f"not usable: {failed[0].text}", tolerance_mm)
        lacks = why_not_usable(findings)
        if lacks:
            return Decision(Verdict.UNSURE, None, lacks, tolerance_mm)
        why = CLOSED if rows_seen_to_meet(findings) else CANNOT_TELL
        return Decision(Verdict.USABLE, None, f"{why}; no solved model was given", tolerance_mm)
    if offset is None:
        if failed:
            return Decision(Verdict.UNSURE, None, failed[0].text, tolerance_mm, failed[0].todo)
        return Decision(Verdict.UNSURE, None, f"no offset can be given: {settle}", tolerance_mm)
    told = f"{with_sign(offset.value, 2)} +- {offset.sd:.2f} mm"
    if failed:
        return Decision(
            Verdict.UNSURE, move, f"{failed[0].text} (offset {told})", tolerance_mm, failed[0].todo
        )
    if not Z95 * offset.sd <= tolerance_mm:
        return Decision(
            Verdict.UNSURE,
            move,
            f"offset {told} is not known to within {tolerance_mm:g} mm: {settle}",
            tolerance_mm,
        )
    if abs(offset.value) <= tolerance_mm and chance_within(offset, tolerance_mm) >= KNOWN_ENOUGH:
        stay = (
            propose(Estimate(0.0, offset.sd), dial, dial_before) if dial and dial_before is not None else None
        )
        return Decision(
            Verdict.LEAVE,
            stay,
            f"the teeth stand within {tolerance_mm:g} mm already (offset {told})",
            tolerance_mm,
        )
    if dial is None or dial_before is None:
        return Decision(
            Verdict.MOVE,
            None,
            f"move the teeth {way(offset.value)}; no rig was given to turn that into a dial value",
            tolerance_mm,
        )
    if move is None:
        return Decision(
            Verdict.MOVE,
            None,
            f"move the teeth {way(offset.value)}; "
            "the rig does not say how many mm a unit of its dial moves: measure it",
            tolerance_mm,
        )
    far = abs(move.left_over_mm) > tolerance_mm
    if not far and abs(move.stands_for_mm) < LEAST_TOLD_MM:
        return Decision(
            Verdict.UNSURE,
            move,
            f"offset {told}: the teeth may stand farther off than {tolerance_mm:g} mm, and no step of the "
            f"dial comes nearer than {move.before:.2f}",
            tolerance_mm,
            "make the dial's step finer, or average more frames to know the offset better",
        )
    end = "its end at " if move.saturated else ""
    what = f"set the dial from {move.before:.2f} to {end}{move.after:.2f}"
    if far:
        return Decision(
            Verdict.BEYOND,
            move,
            f"the teeth must move {way(offset.value)}: {what}, "
            f"which leaves {way(move.left_over_mm)} to do in the rig itself",
            tolerance_mm,
        )
    left = f", which leaves {way(move.left_over_mm)}" if move.tells_left_over else ""
    return Decision(Verdict.MOVE, move, f"move the teeth {way(offset.value)}: {what}{left}", tolerance_mm)
