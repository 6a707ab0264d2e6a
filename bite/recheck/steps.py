"""Whether a move of the dial did what it should, what is left, and whether another move is worth making."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from bite.check.decision import (
    KNOWN_ENOUGH,
    TOLERANCE_MM,
    DialMove,
    Verdict,
    chance_within,
    dial_travel,
    propose,
    way,
)
from bite.errors import InputError
from bite.files.rig import Dial, Rig
from bite.fit.offset import OffsetFit
from bite.fit.parameters import Prior
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen
from bite.recheck.difference import at_rest, difference_sd
from bite.recheck.profile_looks import difference_on_line
from bite.stats.estimate import Z95, Estimate, with_sign

GAIN_SD = 0.3
"""How far a dial's real gain may be from what its rig file says where that states no sd (our choice)."""
GAIN_OFF_SD, GAIN_OFF_SHARE = 3.0, 0.1
"""A gain is called wrong where it is off by this many sd and by this share."""
_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".npy", ".pfm", ".exr")


class Advice(StrEnum):
    """What a recheck advises."""

    STOP = "stop"
    """within tolerance, and known to be"""
    BLIND = "blind"
    """further moves are below what this evidence can see"""
    AGAIN = "again"
    END = "end"
    """the dial ends before the need does"""
    WRONG_WAY = "wrong way"
    UNSURE = "unsure"
    """one of the two frames cannot be trusted"""


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two looks: frame, performer, dial value and offset (mm, forward positive).

    ``doubt`` is empty, or why the frame's own check does not stand behind its offset.
    """

    frame: str
    performer: str
    dial: float
    offset: Estimate
    sampling_sd_mm: float
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Recheck:
    """What two looks at one bite frame say of the move between them.

    Parameters
    ----------
    before, after : Side
    achieved : Estimate, mm forward; its sd holds only what the two looks do not share
    how : str, how that sd was found
    predicted_mm : float or None, what the rig says of the move; None while its dial is not measured
    in_mesh_mm : float or None, how far the teeth came against the skin in the two solved meshes
    gain : Estimate, mm forward a unit of the dial, signed: achieved over the move of the dial
    next : DialMove or None, the next dial value by the pooled gain, bounded and rounded
    gain_wrong : bool, whether the rig's gain is contradicted
    advice, why : what to do, and the sentence for it
    tolerance_mm : float
    """

    before: Side
    after: Side
    achieved: Estimate
    how: str
    predicted_mm: float | None
    in_mesh_mm: float | None
    gain: Estimate
    next: DialMove | None
    gain_wrong: bool
    advice: Advice
    why: str
    tolerance_mm: float


def achieved_by_fits(first: OffsetFit, second: OffsetFit, prior: Prior) -> tuple[Estimate, str]:
    """Give how far the teeth came, mm forward, from two fits to the same readings, both brought to rest."""
    before, after = at_rest(first.solution, prior), at_rest(second.solution, prior)
    sd = difference_sd(before, after, prior)
    total_mm, model = sd.total_mm, ""
    if line := difference_on_line(before, after, prior):
        others = max(sd.total_mm**2 - line.apart_mm**2, 0.0)
        total_mm = float(np.sqrt(others + line.readings_mm**2 + line.model_mm**2))
        model = f", {line.model_mm:.3f} mm of it since one line says only roughly what a move does"
    how = (
        "both fits brought to rest, their offsets taken as weighted sums of the same readings and clicks, "
        "and subtracted reading by reading: "
        f"{total_mm:.3f} mm is left of {sd.apart_mm:.3f} mm{model}"
    )
    return Estimate(before.offset_mm - after.offset_mm, total_mm), how


def achieved_by_results(before: Side, after: Side) -> tuple[Estimate, str]:
    """Give the same from two result files alone, which do not say what their errors share."""
    sd = float(np.hypot(before.sampling_sd_mm, after.sampling_sd_mm))
    how = "from result files: sampling sds taken as independent, which is too much; systematic ones cancel"
    return Estimate(before.offset.value - after.offset.value, sd), how


def recheck(
    before: Side,
    after: Side,
    achieved: tuple[Estimate, str],
    *,
    dial: Dial | None,
    in_mesh_mm: float | None = None,
    tolerance_mm: float = TOLERANCE_MM,
) -> Recheck:
    """Compare the move of the dial with what came of it.

    The next value uses the rig's travel times a gain pooled from the achieved share (secant step) and the
    rig's own
    word, each by its precision.

    Parameters
    ----------
    before, after : Side
    achieved : (Estimate, str), from one of the functions above
    dial : Dial or None, the rig's; without one no next value can be given
    in_mesh_mm : float or None, how far the teeth came in the meshes themselves
    tolerance_mm : float

    Raises
    ------
    InputError
        When both looks were solved with the same dial value.
    """
    moved, how = achieved
    step = after.dial - before.dial
    if abs(step) < 1e-9:
        what = f"solved with dial {after.dial:g}, as {before.frame} was: nothing was moved"
        raise InputError(after.frame, "[solved] dial", what, "write the dial value that it was solved with")
    travel = None if dial is None else dial_travel(dial)
    predicted = None
    if travel is not None:
        ends = np.interp([before.dial, after.dial], travel[:, 0], travel[:, 1])
        predicted = float(ends[1] - ends[0])
    gain = Estimate(moved.value / step, moved.sd / abs(step))
    move, wrong = None, False
    if dial is not None:
        move = _next(dial, after, moved, predicted, gain)
        if predicted:
            off = abs(moved.value - predicted)
            wrong = off > GAIN_OFF_SD * moved.sd and off > GAIN_OFF_SHARE * abs(predicted)
    advice, why = _advice(before, after, moved, dial, step, move, tolerance_mm)
    return Recheck(
        before, after, moved, how, predicted, in_mesh_mm, gain, move, wrong, advice, why, tolerance_mm
    )


def _next(
    dial: Dial, after: Side, moved: Estimate, predicted_mm: float | None, gain: Estimate
) -> DialMove | None:
    if predicted_mm is None:
        sign = -1.0 if dial.positive_is_back else 1.0
        if sign * gain.value <= 2.0 * gain.sd:
            return None
        return propose(after.offset, replace(dial, mm_per_unit=abs(gain.value)), after.dial)
    believed_sd = GAIN_SD
    if dial.mm_per_unit is not None and dial.mm_per_unit_sd is not None:
        believed_sd = max(dial.mm_per_unit_sd / dial.mm_per_unit, 0.01)
    share, share_sd = moved.value / predicted_mm, max(moved.sd / abs(predicted_mm), 1e-6)
    weights = np.array([share_sd**-2, believed_sd**-2])
    pooled = max(float(weights @ [share, 1.0] / weights.sum()), 0.1)
    if dial.travel is not None:
        scaled = replace(dial, travel=frozen(np.asarray(dial.travel) * (1.0, pooled)))
    else:
        assert dial.mm_per_unit is not None
        scaled = replace(dial, mm_per_unit=dial.mm_per_unit * pooled)
    return propose(after.offset, scaled, after.dial)


def _advice(
    before: Side,
    after: Side,
    moved: Estimate,
    dial: Dial | None,
    step: float,
    move: DialMove | None,
    tolerance_mm: float,
) -> tuple[Advice, str]:
    left = after.offset
    told = f"{with_sign(left.value, 2)} +- {left.sd:.2f} mm is left"
    if doubt := before.doubt or after.doubt:
        return Advice.UNSURE, f"the numbers are not to be leaned on: {doubt}"
    if dial is not None:
        wanted = (-1.0 if dial.positive_is_back else 1.0) * step
        if wanted * moved.value < 0 and abs(moved.value) > GAIN_OFF_SD * moved.sd:
            return (
                Advice.WRONG_WAY,
                f"the teeth came {way(moved.value)}, against what the rig says: correct positive in [dial]",
            )
    if abs(left.value) <= tolerance_mm and chance_within(left, tolerance_mm) >= KNOWN_ENOUGH:
        return Advice.STOP, f"the teeth stand within {tolerance_mm:g} mm ({told})"
    if abs(left.value) <= Z95 * left.sd:
        return Advice.BLIND, f"further moves are below what this evidence can see ({told})"
    if move is None:
        return Advice.AGAIN, f"{told}; the dial is not measured, so no next value can be given"
    if move.after == after.dial and not move.saturated:
        return Advice.BLIND, f"the next move is below one step of the dial ({told})"
    if move.saturated:
        return (
            Advice.END,
            f"{told}, and the dial ends at {move.after:g}: {way(move.left_over_mm)} stays for the rig",
        )
    return Advice.AGAIN, f"{told}: set the dial from {after.dial:.2f} to {move.after:.2f}"


def doubt_of(verdict: str, why: str) -> str:
    """Say why a frame's offset is not to be leaned on; empty where it is."""
    return why if verdict == Verdict.RESHOOT else ""


def refuse_other_pictures(
    before: str, after: str, first: Mapping[str, str], second: Mapping[str, str]
) -> None:
    """Refuse two looks whose pictures and depth are not the same files.

    Parameters
    ----------
    before, after : str, names for the message
    first, second : mapping from path to hash, all inputs of either look

    Raises
    ------
    InputError
        Naming a picture or depth file of one look that the other lacks.
    """
    one, two = (
        {value: path for path, value in inputs.items() if path.lower().endswith(_PICTURES)}
        for inputs in (first, second)
    )
    for mine, other, name, against in ((two, one, after, before), (one, two, before, after)):
        for value, path in mine.items():
            if value not in other:
                what = f"{path} is not the file that {against} was made with, so this is another bite frame"
                raise InputError(
                    name, "", what, "recheck the same picture and depth with the model solved again"
                )


def refuse_other_rig(name: str, first: Rig | None, second: Rig | None, *rests: Mesh | None) -> None:
    """Refuse two looks whose rigs differ in more than what is known of the dial's travel.

    Raises
    ------
    InputError
        Naming the first difference.
    """
    mend = "solve both with one rig; only what [dial] says of the travel may differ"
    if (first is None) != (second is None):
        raise InputError(name, "[solved] rig", "one look names a rig, the other does not", mend)
    if first is None or second is None:
        return
    same = {
        "rest export": rests[0] is not None
        and rests[1] is not None
        and np.array_equal(rests[0].vertices_mm, rests[1].vertices_mm),
        "forward": np.allclose(first.forward, second.forward, atol=1e-6),
        "up": np.allclose(first.up, second.up, atol=1e-6),
        "[parts]": first.parts == second.parts,
        "teeth": (first.teeth == "scanned") == (second.teeth == "scanned"),
        "[corners]": first.corners == second.corners,
        "[dial] positive": first.dial.positive_is_back == second.dial.positive_is_back,
    }
    for what, equal in same.items():
        if not equal:
            raise InputError(name, "[solved] rig", f"{what} is not that of the other look's rig", mend)
