"""What the check says of the present clicks, cut down to what the window shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from bite.annotate.state.clicks import Clicks, ViewClicks
from bite.annotate.state.frames import clicked_told, is_done
from bite.annotate.state.order import short_name
from bite.annotate.state.view import Point
from bite.errors import BiteError
from bite.evidence.clicks.corner_order import PictureAxes
from bite.files.bundle import BiteFrame
from bite.files.corners import Corners
from bite.geometry.teeth import DISTAL_CORNERS

if TYPE_CHECKING:
    from bite.check.assessment import Assessment
    from bite.check.solved_looks import Looks

WORTH_IT = 0.02
"""A click that brings the sd down by less than this share is not worth asking for (our choice)."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The live answer.

    Parameters
    ----------
    verdict : str, one word; empty while there is none
    headline : str, the instruction
    rows : tuple of (label, value)
    troubles : tuple of str, failed and warning findings, worst first
    next_click : str, a sentence: what to click for the largest gain
    end : str, a sentence: why nothing more is to be clicked; empty while something is
    before, after : by view, by corner: where the solved model has it, px
    axes : by view, right and down of the solved model
    px_per_mm : by view, on the teeth
    looks : function that renders the solved mouth into every view; None without a solved surface
    provisional : str, what is clicked, where that is not yet what a verdict rests on; empty where it is
    """

    verdict: str = ""
    headline: str = ""
    rows: tuple[tuple[str, str], ...] = ()
    troubles: tuple[str, ...] = ()
    next_click: str = ""
    end: str = ""
    before: Mapping[str, Mapping[str, Point]] = field(default_factory=dict)
    after: Mapping[str, Mapping[str, Point]] = field(default_factory=dict)
    axes: Mapping[str, PictureAxes] = field(default_factory=dict)
    px_per_mm: Mapping[str, float] = field(default_factory=dict)
    looks: Callable[[], Mapping[str, Looks]] | None = None
    provisional: str = ""

    @property
    def short(self) -> str:
        """The verdict in a word or two, for a list."""
        return f"{self.verdict} so far" if self.provisional else self.verdict


def frame_with_clicks(frame: BiteFrame, clicks: Clicks) -> BiteFrame:
    """Give the frame with the present clicks in place of those on disk."""
    views = tuple(
        replace(view, corners=_as_corners(view.image_path.name, view.image.shape[:2], own))
        for view, own in zip(frame.views, clicks, strict=True)
    )
    return replace(frame, views=views)


def _as_corners(image_file: str, shape: tuple[int, ...], clicks: ViewClicks) -> Corners | None:
    from pathlib import Path

    if not clicks.done:
        return None
    path = Path(image_file).with_suffix(".corners.json")
    return Corners(path, image_file, shape[1], shape[0], clicks.points, clicks.landmarks)


def check_clicks(frame: BiteFrame, clicks: Clicks, check: Callable[[BiteFrame], Assessment]) -> Answer:
    """Run the check on the present clicks; what it refuses is an answer too.

    Until the four outer corners of every picture are dealt with the answer is provisional: depth alone may
    give an offset, but nothing has held the picture against it.

    Parameters
    ----------
    frame : BiteFrame, as read from disk
    clicks : Clicks
    check : function from frame to assessment
    """
    try:
        answer = answer_of(check(frame_with_clicks(frame, clicks)))
        return answer if is_done(clicks) else replace(answer, provisional=clicked_told(clicks))
    except BiteError as error:
        return Answer(
            verdict="no answer", headline="the check cannot use these clicks", troubles=(str(error),)
        )


def answer_of(assessment: Assessment) -> Answer:
    """Cut an assessment down to what the window shows."""
    from bite.check.finding import Severity
    from bite.check.solved_looks import solved_looks
    from bite.check.words import told, what_to_do
    from bite.evidence.clicks.corner_order import axes_in_view

    measures, fit = assessment.measures, assessment.fit
    rows = [("offset", told(fit.offset, "mm", sign=True, pm="\u00b1") if fit else assessment.why_no_offset)]
    gap = measures.gap or measures.gap_picture
    rows.append(("gap", told(gap, "mm", pm="\u00b1") if gap else "not measured"))
    seen = next((f.text for f in assessment.findings if f.code == "overbite-visible"), "")
    rows.append(("lower teeth", seen or "not measured"))
    troubles = tuple(
        f"{f.code}: {f.text.rstrip('.')}." + (f" {f.todo[:1].upper()}{f.todo[1:]}." if f.todo else "")
        for f in assessment.findings
        if f.severity in (Severity.FAIL, Severity.WARN)
    )
    before, after = _places(assessment, "before_px"), _places(assessment, "after_px")
    axes: dict[str, PictureAxes] = {}
    scale: dict[str, float] = {}
    for view in assessment.frame.views:
        if assessment.solved is not None:
            found = axes_in_view(assessment.solved.head, view)
            if found is not None:
                axes[view.name] = found
    if assessment.px_per_mm is not None:
        scale[assessment.frame.views[0].name] = assessment.px_per_mm
    next_click, end = _next_click(assessment)
    has_surface = assessment.solved is not None and assessment.solved.has_surface
    return Answer(
        verdict=str(assessment.decision.verdict),
        headline=what_to_do(assessment).replace("+-", "\u00b1"),
        rows=tuple(rows),
        troubles=troubles,
        next_click=next_click,
        end=end,
        before=before,
        after=after,
        axes=axes,
        px_per_mm=scale,
        looks=partial(solved_looks, assessment) if has_surface else None,
    )


def _places(assessment: Assessment, which: str) -> dict[str, dict[str, Point]]:
    found: dict[str, dict[str, Point]] = {view.name: {} for view in assessment.frame.views}
    for mark in assessment.marks:
        place = mark.before_px if which == "before_px" else mark.after_px
        if place is not None and mark.state != "landmark":
            found[mark.view][mark.name] = place
    return found


def _next_click(assessment: Assessment) -> tuple[str, str]:
    """Give what to click next, and where there is nothing, why."""
    from bite.evidence.clicks.next_click import next_clicks

    for view in assessment.frame.views:
        done = set() if view.corners is None else set(view.corners.points)
        missing = [code for code in DISTAL_CORNERS if code not in done]
        if missing:
            where = f" in {view.name}" if len(assessment.frame.views) > 1 else ""
            return f"Click next: {', '.join(missing)}{where}; the four outer corners come first", ""
    if assessment.solved is None:
        return "", "Done: the four outer corners are all that is needed without a solved model."
    if assessment.fit is None:
        return "", ""
    options = next_clicks(assessment.frame, assessment.solved.head, assessment.fit)
    now = assessment.fit.offset.sd
    if not options or options[0].sd_mm > now * (1 - WORTH_IT):
        return "", "Done: nothing more would sharpen this."
    best = options[0]
    where = f" in {best.view}" if len(assessment.frame.views) > 1 else ""
    return f"Click next: {short_name(best.name)}{where}: sd {now:.2f} to about {best.sd_mm:.2f} mm", ""
