"""Several bite frames of one performer: each checked alone, then one offset from all, and who disagrees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bite import __version__
from bite.check.assessment import Assessment
from bite.check.checks.lateral import lateral
from bite.check.decision import TOLERANCE_MM, Verdict, decide
from bite.check.finding import Finding, Severity, worst_first
from bite.check.marks import marks_of
from bite.check.steps import check_frame
from bite.errors import DegenerateGeometryError
from bite.evidence.clicks.for_fit import corner_block, views_with_position
from bite.evidence.priors import prior_of
from bite.files.bundle import BiteFrame
from bite.fit.corner_block import CornerBlock
from bite.fit.parameters import P, Prior
from bite.stats.estimate import Estimate
from bite.stats.pooling import Spread, pool
from bite.together.frame_information import information_of_fit
from bite.together.frames_agree import FrameStand, frames_agree, frames_used, is_named, joint_fit_sound
from bite.together.joint import Joint, JointFrame, fit_joint
from bite.together.one_performer import refuse_strangers, stands_mm
from bite.together.shared_offset import Part, Role, Together


def check_together(
    frames: Sequence[BiteFrame],
    *,
    tolerance_mm: float = TOLERANCE_MM,
    performance_device: str | None = None,
) -> Together:
    """Check several frames of one performer, and give the one offset that all share.

    Each frame keeps its own head alignment. Enamel bias (one for each device) and the size of the digital
    teeth are shared, so that they are not averaged down; a closed bite repeats differently, and that spread
    is part of the sd. Frames with corners of one view alone help where heads are turned. A frame that
    fails its own check is left out and told.

    Parameters
    ----------
    frames : sequence of BiteFrame, two or more, of one performer and one rig
    tolerance_mm : float, mm
    performance_device : str, optional

    Raises
    ------
    InputError
        As `check_frame`; and for frames of different performers, rigs or dials that do not convert, or
        a picture named twice.

    Examples
    --------
    >>> from bite.errors import InputError
    >>> from bite.files.bundle import load_frame
    >>> names = ("plover-b02", "plover-b02-after")  # one picture, solved twice
    >>> try:
    ...     check_together([load_frame(f"demo_bite/plover/{name}.bite.toml") for name in names])
    ... except InputError as error:
    ...     print(str(error).partition(": ")[2])
    front.jpg is also in plover-b02: it would count twice; name only one of the two frames
    """
    refuse_strangers(frames)
    for frame in frames:
        stands_mm(frame, frames[0])
    looks = [
        check_frame(frame, tolerance_mm=tolerance_mm, performance_device=performance_device)
        for frame in frames
    ]
    clicks = [_joint_clicks(look) for look in looks]
    kinds = [_role(look, block) for look, block in zip(looks, clicks, strict=True)]
    used = [k for k, (role, _) in enumerate(kinds) if role is not Role.LEFT_OUT]
    zero = looks[used[0] if used else 0].frame
    stands = [stands_mm(frame, zero) for frame in frames]
    joint, why = None, ""
    if len(used) >= 2:
        try:
            joint = fit_joint([_joint_frame(looks[k], clicks[k], stands[k]) for k in used])
        except DegenerateGeometryError as error:
            why = f"{error}; add frames with the head turned by 20 degrees either way, or with depth"
    else:
        left = "; ".join(f"{a.frame.name}: {told}" for a, (_, told) in zip(looks, kinds, strict=True) if told)
        why = f"{len(used)} of {len(looks)} frames can be used, needed two ({left})"
    parts = [
        _part(look, kind, stands[k], joint, used.index(k) if k in used else None)
        for k, (look, kind) in enumerate(zip(looks, kinds, strict=True))
    ]
    findings = _findings(parts, joint, tolerance_mm)
    offset = None if joint is None else joint.offset
    decision = decide(
        solved=True,
        offset=offset,
        findings=findings,
        dial=zero.rig.dial if zero.rig else None,
        dial_before=zero.file.solved.dial if zero.file.solved else None,
        tolerance_mm=tolerance_mm,
        settle=why or _what_would_settle(parts, joint),
    )
    moved = decision.move.stands_for_mm if decision.move else offset.value if offset else 0.0
    pm, dl = (_spread_of(parts, way) for way in (Spread.PAULE_MANDEL, Spread.DERSIMONIAN_LAIRD))
    return Together(
        performer=frames[0].file.performer,
        parts=tuple(_with_marks(part, joint, used.index(k) if k in used else None, moved)
                    for k, part in enumerate(parts)),
        joint=joint,
        offset=offset,
        zero=zero,
        paule_mandel_mm=pm,
        dersimonian_laird_mm=dl,
        findings=tuple(findings),
        decision=decision,
        moved_mm=moved,
        version=__version__,
    )  # fmt: skip


def _joint_clicks(look: Assessment) -> CornerBlock | None:
    """Give the clicks of a frame whose corners are seen in one view, where its rig says which way is up."""
    if look.fit is not None or look.solved is None or look.frame.rig is None:
        return None
    block = corner_block(look.frame, look.solved.head)
    return block if views_with_position(block) else None


def _role(look: Assessment, clicks: CornerBlock | None) -> tuple[Role, str]:
    failed = [finding for finding in look.findings if finding.severity is Severity.FAIL]
    if failed:
        return Role.LEFT_OUT, failed[0].text
    if look.decision.verdict is Verdict.RESHOOT:
        return Role.LEFT_OUT, look.decision.why
    if look.fit is not None:
        solution = look.fit.solution
        if solution.converged and "forward_mm" not in solution.at_bound:
            return Role.OWN, ""
        return Role.LEFT_OUT, "its fit did not settle"
    return (Role.JOINT, "") if clicks is not None else (Role.LEFT_OUT, look.why_no_offset)


def _prior(look: Assessment) -> Prior:
    by_landmarks = look.solved is not None and look.solved.posed_by_landmarks
    return prior_of(look.frame.device, posed_by_landmarks=by_landmarks, matched=look.frame.stereo)[0]


def _joint_frame(look: Assessment, clicks: CornerBlock | None, stands: float) -> JointFrame:
    frame, prior = look.frame, _prior(look)
    information = None
    if look.fit is not None:
        information = information_of_fit(look.fit, prior, own_axes=frame.rig is not None)
    return JointFrame(frame.name, frame.file.device, prior, information, clicks, stands)


def _part(
    look: Assessment, kind: tuple[Role, str], stands: float, joint: Joint | None, place: int | None
) -> Part:
    offset, own_sd = None, None
    if look.fit is not None:
        own = look.fit.offset
        offset = Estimate(own.value + stands, own.sd)
        bias = look.fit.forward_per_enamel * float(_prior(look).sd[P.ENAMEL_BIAS_MM])
        # never less than what the scatter of its own evidence makes
        own_sd = max(float(np.sqrt(max(own.sd**2 - bias**2, 0.0))), look.fit.sampling_sd_mm)
    known = joint is not None and place is not None
    return Part(
        assessment=look,
        role=kind[0],
        why_left_out=kind[1],
        stands_mm=stands,
        offset=offset,
        own_sd_mm=own_sd,
        share=float(joint.shares[place]) if joint is not None and place is not None else None,
        without=joint.without[place] if joint is not None and place is not None and known else None,
        marks=look.marks,
    )


def _findings(parts: Sequence[Part], joint: Joint | None, tolerance_mm: float) -> list[Finding]:
    found = [frames_used([(p.assessment.frame.name, p.why_left_out) for p in parts])]
    if joint is not None:
        stands = [
            FrameStand(part.assessment.frame.name, held.apart, held.chance, held.offset)
            for part in parts
            if (held := part.without) is not None
        ]
        found.append(frames_agree(stands, joint.offset))
        found.append(lateral(joint.right, joint.up, tolerance_mm))
        found.append(joint_fit_sound(converged=joint.converged, rounds=joint.rounds))
    return worst_first(found)


def _spread_of(parts: Sequence[Part], way: Spread) -> float | None:
    """Find the spread from the frames' own offsets alone; their common errors do not count."""
    own = [part for part in parts if part.role is Role.OWN and part.offset is not None and part.own_sd_mm]
    if len(own) < 2:
        return None
    values = np.array([part.offset.value for part in own if part.offset is not None])
    return pool(values, np.array([part.own_sd_mm for part in own], dtype=float), spread=way).tau


def _what_would_settle(parts: Sequence[Part], joint: Joint | None) -> str:
    if joint is None:
        return ""
    used = [part for part in parts if part.role is not Role.LEFT_OUT]
    if odd := [part for part in used if part.without and is_named(part.without.chance, len(used))]:
        name = min(odd, key=lambda p: p.without.chance if p.without else 1.0).assessment.frame.name
        third = "; a third frame tells which one is off" if len(used) == 2 else ""
        return f"look at {name} first, and take the frames together without it{third}"
    if joint.common_sd_mm > 0.7 * joint.offset.sd:
        devices = ", ".join(sorted({part.assessment.frame.file.device for part in used}))
        return (
            f"more frames alike would not help: {joint.common_sd_mm:.2f} mm of the sd is common to all of "
            f"them; state the enamel bias of {devices}, or add frames with corners in two views"
        )
    if all(part.role is Role.JOINT for part in used):
        return "add frames with the head turned farther either way, click landmarks in each, or give depth"
    return f"add more bite frames of this performer ({len(used)} now), each from a bite of its own"


def _with_marks(part: Part, joint: Joint | None, place: int | None, moved_mm: float) -> Part:
    look = part.assessment
    if joint is None or place is None:
        return part
    parameters = look.fit.parameters if look.fit is not None else joint.parameters[place]
    return replace(part, marks=marks_of(look.frame, look.solved, parameters, moved_mm - part.stands_mm))
