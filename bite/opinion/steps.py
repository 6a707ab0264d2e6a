"""A second opinion on one bite frame: what would explain what is seen, and what cures each cause."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.check.decision import TOLERANCE_MM, Verdict
from bite.check.steps import check_frame
from bite.errors import InputError
from bite.evidence.blocks import offset_evidence
from bite.evidence.depth.coarse_place import CoarsePlace, where_a_fit_starts
from bite.evidence.model.head import SolvedHead, solved_head
from bite.evidence.model.teeth_in_view import teeth_in_view
from bite.evidence.stereo.depth import with_stereo_depth
from bite.files.bundle import BiteFrame
from bite.fit.causes import Cause, moved_head
from bite.fit.head import Head
from bite.geometry.rigid import frozen
from bite.opinion.explain import REFITTED, Explained, Explanations, explain
from bite.opinion.picture_vote import PictureVote, picture_vote
from bite.opinion.sunken import Sunken, sunken
from bite.stats.estimate import Z95, Estimate

LEFT = 16.0
"""More than this left for another cause means that one cause is not all: 1 in 3000 for two degrees (our
choice)."""
ENAMEL_MM = (-0.3, 1.5)
"""Light is scattered back from within enamel, some 0.47 mm deep (Zijp, ten Bosch & Groenhuis 1995): a sensor
that sees it nearer than it is, or deeper than three times that, has another fault (our choice)."""

CURES: dict[Cause, str] = {
    Cause.FORWARD: "move the dial: bite check gives the value",
    Cause.LATERAL: "the dial cannot mend this: move the teeth in the rig, or the head's alignment",
    Cause.SIZE: "scale the teeth in the rig, or scan them again",
    Cause.TURN: "turn the teeth in the rig to the occlusal plane of the scan",
    Cause.ROWS: "check that the teeth were closed, and mend the jaw in the solve before the dial",
    Cause.LIPS: "mend the solved lips first: moving the teeth is the wrong cure",
    Cause.HEAD: "align the solved head to its sensor again",
    Cause.ENAMEL: "state enamel_bias_mm and its sd in the device table",
    Cause.SCALE: "check unit_mm of the depth map and the depth camera's calibration",
}
_TELLS: dict[frozenset[Cause], str] = {
    frozenset(
        (Cause.FORWARD, Cause.ENAMEL)
    ): "the same device on teeth whose place is known, or a second calibrated view",
    frozenset((Cause.HEAD, Cause.SCALE)): "a flat board of known size at the same distance",
    frozenset(
        (Cause.FORWARD, Cause.LIPS)
    ): "a depth map of the whole mouth with more enamel bared, or corners in a second calibrated view",
    frozenset((Cause.FORWARD, Cause.ROWS)): "a frame with more of the lower teeth bared",
    frozenset((Cause.LATERAL, Cause.TURN)): "corners clicked in a second view from the side",
}


@dataclass(frozen=True, slots=True)
class Opinion:
    """What explains a frame best.

    Parameters
    ----------
    frame : BiteFrame
    ranked : Explanations
    conclusion : str, one sentence
    best : tuple of Cause: none, one, or those that cannot be told apart
    cures : tuple of (Cause, str), for each of the best
    offset : Estimate or None, of the frame's own check
    refused : str, why the frame's own check advises no move; empty where it stands behind its answer
    head : Head or None, the solved model, with a surface
    sunken : Sunken or None
    votes : mapping from cause to what the picture says of it; only causes that were fitted for good, and that
        change enough of what the picture shows
    """

    frame: BiteFrame
    ranked: Explanations
    conclusion: str
    best: tuple[Cause, ...]
    cures: tuple[tuple[Cause, str], ...]
    offset: Estimate | None
    refused: str
    head: Head | None
    sunken: Sunken | None
    votes: dict[Cause, PictureVote]


def opinion_of(frame: BiteFrame) -> Opinion:
    """Ask what would explain a frame.

    A mesh with a depth map sees every cause; a depth profile, or corners in two views, sees some.

    Raises
    ------
    InputError
        Without a solved model, or without evidence that could fix its offset: says what is missing.
    """
    solved = solved_head(frame)
    if solved is None:
        what = "a second opinion needs a solved model to hold the frame against"
        raise InputError(frame.file.path, "[solved]", what, "give [solved] mesh with its rig, or corners_mm")
    frame = with_stereo_depth(frame, solved.head)
    solved, placed = where_a_fit_starts(frame, solved)
    assert solved is not None
    # whether the lips are at fault is one of the questions: their line in the picture has no part in it
    evidence = offset_evidence(frame, solved, use_lips=False)
    if evidence.missing:
        what = f"a second opinion needs more evidence: {evidence.missing}"
        raise InputError(frame.file.path, "", what, evidence.settle)
    # first, since it refuses frames in a tenth of the time that ranking takes
    checked = check_frame(frame)
    ranked = with_placing(explain(evidence.blocks, evidence.prior), placed)
    best = best_of(ranked)
    offset = checked.fit.offset if checked.fit else None
    concluded = conclusion_beside(
        placed, conclusion_of(ranked, best, offset=offset, tolerance_mm=TOLERANCE_MM)
    )
    if placed is not None:
        head = next(e for e in ranked.causes if e.cause is Cause.HEAD)
        best = (head, *(e for e in best if e.cause is not Cause.HEAD))
    decision = checked.decision
    refused = decision.why if decision.verdict in (Verdict.RESHOOT, Verdict.UNSURE) else ""
    return Opinion(
        frame,
        ranked,
        concluded,
        tuple(e.cause for e in best),
        tuple((e.cause, _cure(e.cause, refused)) for e in best),
        offset,
        refused,
        solved.head if solved.has_surface else None,
        sunken(checked.fit, checked.moved_mm) if checked.fit else None,
        _votes(frame, solved, ranked),
    )


def with_placing(ranked: Explanations, placed: CoarsePlace | None) -> Explanations:
    """Give the ranking with the whole head's value as from where it was solved.

    A head that stands far from the measured skin is laid there first (``evidence.depth.coarse_place``):
    slopes at a place centimetres off say nothing of any cause.
    """
    if placed is None:
        return ranked

    def whole(found: Explained) -> Explained:
        return replace(found, value=frozen(found.value + placed.shift))

    causes = tuple(whole(e) if e.cause is Cause.HEAD else e for e in ranked.causes)
    return replace(ranked, causes=causes)


def conclusion_beside(placed: CoarsePlace | None, conclusion: str) -> str:
    """Say first that the head had to be laid on the measured skin, where it had to."""
    if placed is None:
        return conclusion
    return (
        f"whole head off: it stands {placed.shift_mm:.1f} mm and {placed.turn_deg:.1f} degrees from the "
        f"measured skin; once laid there, {conclusion}"
    )


def _votes(frame: BiteFrame, solved: SolvedHead, ranked: Explanations) -> dict[Cause, PictureVote]:
    """Ask the picture of each cause that was fitted for good; it has no part in the ranking."""
    if not solved.has_surface or ranked.placed is None:
        return {}
    view = frame.views[0]
    before = teeth_in_view(view, solved.head, ranked.placed)
    out: dict[Cause, PictureVote] = {}
    for found in ranked.found:
        if before is None or found.placed is None or found.cause in (Cause.ENAMEL, Cause.SCALE):
            continue
        head = moved_head(solved.head, found.cause, found.value)
        after = teeth_in_view(view, head, found.placed, within=before)
        if after is not None:
            scale = before.mm_per_px * before.piece.binned
            vote = picture_vote(before.picture, before.part, after.part, scale)
            if vote is not None:
                out[found.cause] = vote
    return out


def _cure(cause: Cause, refused: str) -> str:
    """Give what cures a cause; the dial does not where the frame's own check advises no value."""
    if cause is Cause.FORWARD and refused:
        return f"the dial would mend it, but no value is advised: {refused}"
    return CURES[cause]


def best_of(ranked: Explanations) -> tuple[Explained, ...]:
    """Give the cause that explains a frame best, and after it all that cannot be told from it.

    One cause beats another when the other, mended, still needs it beyond chance, and not the other way round.
    Of those that nothing beats, the best comes first; the others cannot be told from it unless it needs them
    or they need it. Nothing is given where chance explains it all, nor a cause that weighs less than no
    difference at all: nine questions find something beyond chance in one clean frame of twenty.
    """
    found = [e for e in ranked.found if is_credible(e) and e.weight >= ranked.weight_of_none][:REFITTED]

    def beats(one: Explained, other: Explained) -> bool:
        return other.needs(one) and not one.needs(other)

    unbeaten = [e for e in found if not any(beats(other, e) for other in found)] or found
    if not unbeaten:
        return ()
    first = max(unbeaten, key=lambda e: e.statistic)
    rivals = [e for e in unbeaten if e is not first and not e.needs(first) and not first.needs(e)]
    return (first, *rivals)


def is_credible(found: Explained) -> bool:
    """Tell whether a cause of this size exists at all."""
    if found.cause is not Cause.ENAMEL:
        return True
    value, spread = float(found.value[0]), 2.0 * float(found.sd[0])
    return ENAMEL_MM[0] - spread <= value <= ENAMEL_MM[1] + spread


def conclusion_of(
    ranked: Explanations,
    best: tuple[Explained, ...],
    *,
    offset: Estimate | None = None,
    tolerance_mm: float = TOLERANCE_MM,
) -> str:
    """Say in one sentence what the ranking means, beside the offset that the frame's own check found."""
    if not best:
        return _nothing_told(ranked, offset, tolerance_mm)
    first = best[0]
    more = f"; that is not all of it ({first.left.cause} too)" if first.left.statistic > LEFT else ""
    if len(best) == 1:
        weight = f"weight {100 * first.weight:.0f} %"
        return f"{first.cause} explains it best ({values_told(first)}; {weight}){more}"
    pair = frozenset((first.cause, best[1].cause))
    names = " from ".join(str(e.cause) for e in best[:2])
    shoot = _TELLS.get(pair, "corners in a second calibrated view")
    return f"cannot tell {names}: shoot {shoot}{more}"


def _nothing_told(ranked: Explanations, offset: Estimate | None, tolerance_mm: float) -> str:
    top = min(ranked.causes, key=lambda e: e.chance)
    forward = next(e for e in ranked.causes if e.cause is Cause.FORWARD)
    shoot = "shoot a frame with more enamel bared, or a steadier depth map"
    if not Z95 * forward.sd[0] <= tolerance_mm:
        seen = f"an offset of {tolerance_mm:g} mm would not show here (sd {forward.sd[0]:.2f} mm)"
        return f"cannot tell: nothing is beyond chance, but {seen}: {shoot}"
    if offset is not None and abs(offset.value) > max(Z95 * offset.sd, tolerance_mm):
        found = f"bite check finds {offset.value:+.2f} +- {offset.sd:.2f} mm"
        return f"cannot tell: {found}, but no single cause stands out from chance: {shoot}"
    asked = sum(not e.unseen for e in ranked.causes)
    likeliest = f"the likeliest of {asked} causes ({top.cause})"
    if any(not is_credible(e) for e in ranked.found):
        odd = next(e for e in ranked.found if not is_credible(e))
        return (
            f"cannot tell: {odd.cause} would explain it ({values_told(odd)}), but no sensor sees enamel so: "
            f"another fault hides behind it; {shoot}"
        )
    lighter = ranked.found
    if lighter:
        none = f"no difference at all ({100 * ranked.weight_of_none:.0f} %)"
        less = f"weighs less ({100 * lighter[0].weight:.0f} %)"
        return f"no difference found: {lighter[0].cause} {less} than {none}"
    return f"no difference found: {likeliest} is within chance (p {top.chance:.2f})"


_MOST_TOLD = {"mm": 50.0, "deg": 45.0, "%": 50.0}
"""Larger values are those of a line laid far beyond what it was laid through (our choice)."""


def values_told(found: Explained) -> str:
    """Give the best value of each unknown of a cause with its sd."""
    from bite.fit.causes import UNKNOWNS

    if found.unseen:
        return "this evidence does not see it"
    pieces = []
    for name, value, sd in zip(UNKNOWNS[found.cause], found.value, found.sd, strict=True):
        word, _, unit = name.partition(", ")
        most = _MOST_TOLD.get(unit)
        if not np.isfinite(sd):
            pieces.append(f"{word} not seen")
        elif most is not None and abs(value) > most:
            pieces.append(f"{word} beyond {np.sign(value) * most:+g} {unit}, not to be believed")
        else:
            pieces.append(f"{word} {value:+.2f} +- {sd:.2f} {unit}")
    return ", ".join(pieces) + (" (its fit did not settle)" if found.unsettled else "")
