"""Put the frames of a take in order: those that can be bite frames first, by what they would give."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bite.check.checks.bite_gap import CODE as GAP
from bite.check.finding import Severity
from bite.choose.content import Measures, Ranked, Standing

BLUR_SHARE = 0.05
"""Share of the edges' blur, mm, that is added to the expected sd (in quadrature). Our choice, no source."""
MOTION_SHARE = 0.1
"""The same of the motion from frame to frame: picture and depth map may be a tenth of a frame apart."""
STILL_PX = 0.5
"""A head that moves less from frame to frame holds its bite; what drifts all the same is left out later."""
MOVES_MM = 0.5
"""A head that moves more than this from frame to frame is told (our choice, no source)."""
JAW_MM, JAW_SD = 0.4, 2.0
"""A jaw that stands lower than elsewhere in the take by more than this, and more than so many sd, is told."""
DEPTH_LEAST = 0.6
"""Share of enamel with a reading, as in the check `depth-covered`."""
LOST_CLIPPED = 0.35
"""Share of enamel clipped bright, as in the check `enamel-lit`."""
_ORDER = (Standing.FIT, Standing.DOUBTFUL, Standing.UNFIT)


def motions(measures: Sequence[Measures]) -> list[Measures]:
    """Add to each frame how far its teeth moved against its neighbours, px, the larger of the two ways."""
    places = {one.number: one.middle_px for one in measures}
    found = []
    for one in measures:
        ways = []
        for other in (one.number - 1, one.number + 1):
            there = places.get(other)
            if there is not None and one.middle_px is not None:
                ways.append(float(np.hypot(there[0] - one.middle_px[0], there[1] - one.middle_px[1])))
        found.append(replace(one, motion_px=max(ways) if ways else one.motion_px))
    return found


@dataclass(frozen=True, slots=True)
class LowerJaw:
    """The jaw stands lower than in another frame with the same smile."""

    than: int
    drop_mm: float


def rank(measures: Sequence[Measures], lower: Mapping[int, LowerJaw]) -> tuple[Ranked, ...]:
    """Rank the frames of a take, best first.

    Fit frames come first, then doubtful, then unfit ones; among equals those whose jaw was not found to stand
    lower, then the smaller cost, then the earlier frame. The cost is the expected sd of the offset with a
    share of blur and motion added in quadrature.

    Parameters
    ----------
    measures : sequence of Measures
    lower : mapping from frame number to LowerJaw, where the jaw was found to stand lower
    """
    tightest = min((one.jaw_drop_mm for one in measures if one.jaw_drop_mm is not None), default=None)
    closed = any(f.code == GAP and f.severity is Severity.OK for one in measures for f in one.findings)
    judged = [
        _judged(one, tightest, lower.get(one.number), closed_elsewhere=closed) for one in measures
    ]
    judged.sort(
        key=lambda item: (
            _ORDER.index(item[1]),
            item[0].number in lower,
            float("inf") if item[2] is None else item[2],
            item[0].number,
        )
    )
    return tuple(Ranked(k, *item) for k, item in enumerate(judged, 1))


def rank_coarse(measures: Sequence[Measures]) -> tuple[Ranked, ...]:
    """Rank frames of which nothing is known but the whole picture: clipped last, else still and sharp."""
    motion = _places([one.motion_px for one in measures])
    blur = _places([one.edge_px for one in measures])
    clipped = [0.0 if one.clipped is None else one.clipped for one in measures]
    usual = float(np.median(clipped)) if clipped else 0.0
    order = sorted(
        range(len(measures)),
        key=lambda k: (clipped[k] > usual + 0.02, motion[k] + blur[k], measures[k].number),
    )
    ranked = []
    for place, k in enumerate(order, 1):
        one = measures[k]
        told = ["motion not measured" if one.motion_px is None else f"moves {one.motion_px:.1f} px a frame"]
        told.append(f"sharpness {_share_told(blur[k], len(measures))}")
        if clipped[k] > usual + 0.02:
            told.append(f"{100 * clipped[k]:.0f} % of the picture clipped bright")
        ranked.append(Ranked(place, one, Standing.UNJUDGED, None, "; ".join(told)))
    return tuple(ranked)


def _share_told(place: float, count: int) -> str:
    return f"better than in {100 * (1 - place):.0f} % of the frames" if count > 1 else "not compared"


def still_stretch(measures: Sequence[Measures], number: int) -> range:
    """Give the frames about one that hold still with it: one bite, read again and again.

    Parameters
    ----------
    measures : sequence of Measures, in the order of the take
    number : int, of the frame

    Returns
    -------
    range of frame numbers, the frame itself alone where its neighbours move
    """
    at = {one.number: one for one in measures}

    def holds(k: int) -> bool:
        one = at.get(k)
        return one is not None and one.motion_px is not None and one.motion_px <= STILL_PX

    first = last = number
    while holds(number) and holds(first - 1):
        first -= 1
    while holds(number) and holds(last + 1):
        last += 1
    return range(first, last + 1)


def _places(values: Sequence[float | None]) -> list[float]:
    """Give each value's place among all, 0 for the smallest, 1 for the largest; unknown ones are last."""
    known = np.array([np.inf if value is None else value for value in values])
    order = known.argsort(kind="stable").argsort()
    return [float(place) / max(len(values) - 1, 1) for place in order]


def _judged(
    one: Measures, tightest: float | None, jaw: LowerJaw | None, *, closed_elsewhere: bool
) -> tuple[Measures, Standing, float | None, str]:
    if one.points is None:
        clipped = one.clipped is not None and one.clipped > LOST_CLIPPED
        why = "the teeth were not found again"
        return one, Standing.UNFIT, None, f"{why}: clipped bright" if clipped else why
    against, doubts = [], []
    for finding in one.findings:
        if finding.severity is Severity.FAIL:
            against.append(finding.text)
        elif finding.code == GAP and finding.severity is Severity.WARN and closed_elsewhere:
            # one mouth in one light: where another frame shows closed rows, a dark band is no shadow
            against.append(f"{finding.text}; other frames of this take show closed rows")
        elif finding.severity is Severity.WARN or (finding.severity is Severity.NOTE and finding.code == GAP):
            doubts.append(finding.text)
    if one.sd_mm is None:
        against.append("no bare enamel was found")
    lower = None if one.jaw_drop_mm is None or tightest is None else one.jaw_drop_mm - tightest
    if lower is not None and lower > max(JAW_MM, JAW_SD * (one.jaw_drop_sd_mm or 0.0)):
        against.append(f"the jaw stands {lower:.1f} mm lower than at its highest in this take")
    if jaw is not None:
        doubts.append(
            f"lower teeth and lip stand {jaw.drop_mm:.1f} mm lower than in frame {jaw.than}, the upper lip "
            "does not: teeth apart?"
        )
    motion_mm = _motion_mm(one)
    if motion_mm is not None and motion_mm > MOVES_MM:
        doubts.append(f"the head moves {one.motion_px:.1f} px ({motion_mm:.1f} mm) from frame to frame")
    if one.depth_share is not None and one.depth_share < DEPTH_LEAST:
        doubts.append(f"depth on only {100 * one.depth_share:.0f} % of the enamel")
    standing = Standing.UNFIT if against else Standing.DOUBTFUL if doubts else Standing.FIT
    told = against + doubts or [_in_favour(one)]
    return one, standing, _cost_mm(one, motion_mm), "; ".join(told)


def _motion_mm(one: Measures) -> float | None:
    if one.motion_px is None or one.mm_per_px is None:
        return None
    return one.motion_px * one.mm_per_px


def _cost_mm(one: Measures, motion_mm: float | None) -> float | None:
    if one.sd_mm is None:
        return None
    blur_mm = 0.0 if one.edge_px is None or one.mm_per_px is None else one.edge_px * one.mm_per_px
    return float(
        np.sqrt(one.sd_mm**2 + (BLUR_SHARE * blur_mm) ** 2 + (MOTION_SHARE * (motion_mm or 0.0)) ** 2)
    )


def _in_favour(one: Measures) -> str:
    told = ["no opening in sight"]
    if one.enamel_mm2 is not None:
        told.append(f"{one.enamel_mm2:.0f} mm2 of enamel in sight")
    if one.edge_px is not None and one.mm_per_px is not None:
        told.append(f"edges blurred by {one.edge_px * one.mm_per_px:.2f} mm")
    if one.motion_px is not None:
        told.append(f"moves {one.motion_px:.1f} px a frame")
    return ", ".join(told)
