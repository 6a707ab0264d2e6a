"""Do the frames of one performer tell the same offset? Which one does not, and which were used at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bite.check.finding import Finding, Severity
from bite.stats.estimate import Estimate, with_sign

CODE, USED_CODE, FIT_CODE = "frames-agree", "frames-used", "fit"
NAMED_CHANCE = 0.05
"""Chance of naming any frame where none is odd, shared among the frames (Bonferroni; our choice)."""


@dataclass(frozen=True, slots=True)
class FrameStand:
    """One frame held against all others.

    Parameters
    ----------
    name : str
    apart : Estimate or None, mm that its teeth stand ahead of the others'; None where it cannot tell alone
    chance : float, of as much by accident
    without : Estimate or None, the shared offset without it
    """

    name: str
    apart: Estimate | None
    chance: float
    without: Estimate | None


def is_named(chance: float, count: int) -> bool:
    """Tell whether a frame disagrees with the other ``count - 1`` beyond chance.

    Two frames ask one question between them, more ask one each.
    """
    return chance < NAMED_CHANCE / (count if count > 2 else 1)


def frames_agree(stands: Sequence[FrameStand], offset: Estimate) -> Finding:
    """Name the frame that the others speak against most, where it is more than chance.

    Parameters
    ----------
    stands : sequence of FrameStand, of every frame used
    offset : Estimate, mm, of all together
    """
    worst = min(stands, key=lambda stand: stand.chance)
    measured, sd = (worst.apart.value, worst.apart.sd) if worst.apart is not None else (None, None)
    source = "chance of naming a frame where none is odd 5 %: our choice"
    way = ""
    if measured is not None:
        way = f"{abs(measured):.1f} mm farther {'forward' if measured > 0 else 'back'}"
    if not is_named(worst.chance, len(stands)):
        text = f"no frame stands apart; farthest {worst.name}, chance {_percent(worst.chance)}"
        return Finding(CODE, Severity.OK, text, "", measured, sd, unit="mm", source=source)
    if len(stands) == 2:
        text = (
            f"{stands[0].name} and {stands[1].name} disagree by more than their errors and a usual spread "
            f"between bites, chance {_percent(worst.chance)}"
        )
        todo = "two frames cannot say which one is off: add a third"
        return Finding(CODE, Severity.WARN, text, todo, measured, sd, unit="mm", source=source)
    where = f"it asks for {way}" if way else "its corners lie elsewhere"
    chance = _percent(worst.chance)
    text = f"{worst.name} disagrees with the other {len(stands) - 1}: {where}, chance {chance}"
    todo = f"look at the clicks, the solve and the bite of {worst.name}"
    if worst.without is not None:
        todo += (
            f"; without it the offset is {with_sign(worst.without.value, 2)} +- {worst.without.sd:.2f} mm "
            f"in place of {with_sign(offset.value, 2)}"
        )
    return Finding(CODE, Severity.WARN, text, todo, measured, sd, unit="mm", source=source)


def frames_used(left_out: Sequence[tuple[str, str]]) -> Finding:
    """Say which frames could not be used.

    Parameters
    ----------
    left_out : sequence of (name, why), every frame; why is empty for one that was used
    """
    out = [(name, why) for name, why in left_out if why]
    share = len(left_out) - len(out)
    if not out:
        return Finding(USED_CODE, Severity.OK, f"all {share} frames were used", measured=share, unit="frames")
    told = "; ".join(f"{name}: {why}" for name, why in out)
    text = f"{share} of {len(left_out)} frames were used; left out {told}"
    todo = "check those alone for what each needs"
    return Finding(USED_CODE, Severity.WARN, text, todo, measured=share, unit="frames")


def joint_fit_sound(*, converged: bool, rounds: int) -> Finding:
    """Judge how the joint fit ended; one that did not settle gives no answer."""
    if converged:
        plural = "s" if rounds > 1 else ""
        told = f"in {rounds} round{plural}" if rounds else "where the frames' own fits had settled"
        return Finding(FIT_CODE, Severity.OK, f"the joint fit settled {told}")
    text = f"the joint fit still moved after {rounds} rounds"
    return Finding(FIT_CODE, Severity.FAIL, text, "look at the clicks of the frames without depth first")


def _percent(chance: float) -> str:
    if chance > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if chance < 0.001 else f"{100 * chance:.1f} %"
