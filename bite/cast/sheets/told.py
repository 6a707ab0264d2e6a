"""What page, PDF and terminal say of a cast in words and numbers: one way for all three."""

from __future__ import annotations

from bite.cast.advice import own_dial
from bite.cast.content import CastContent, FrameRow, PerformerAnswer
from bite.check.decision import Verdict, way
from bite.check.words import dial_told, rounded_pair, signed

MARKS = {
    Verdict.RESHOOT: "✕", Verdict.UNSURE: "?", Verdict.BEYOND: "!", Verdict.MOVE: "→", Verdict.LEAVE: "✓",
    Verdict.USABLE: "○",
}  # fmt: skip
"""A shape for each verdict, beside its word and colour."""


def offset_told(row: FrameRow) -> str:
    """Give offset and sd in mm, or that it was not measured."""
    if row.t_mm is None or row.sd_mm is None:
        return "not measured"
    value, sd = rounded_pair(row.t_mm, row.sd_mm)
    return f"{signed(value)} ± {sd} mm"


def offset_alone(row: FrameRow) -> tuple[str, str]:
    """Give offset and sd as two numbers without a unit, rounded together; empty where not measured."""
    if row.t_mm is None or row.sd_mm is None:
        return "", ""
    value, sd = rounded_pair(row.t_mm, row.sd_mm)
    return signed(value), sd


def interval_alone(row: FrameRow) -> str:
    """Give the 95 % interval without a unit, to the place of the sd; empty where not measured."""
    if row.low_mm is None or row.high_mm is None or row.sd_mm is None:
        return ""
    low, high = (signed(rounded_pair(end, row.sd_mm)[0]) for end in (row.low_mm, row.high_mm))
    return f"{low} to {high}"


def typed(answer: PerformerAnswer) -> str:
    """Give the dial value that is to be typed for a performer; empty where none is."""
    if answer.frame is None or answer.advice.dial is None:
        return ""
    return dial_told(answer.advice.dial, answer.frame.dial_step)


def held(answer: PerformerAnswer) -> str:
    """Give the dial value that was found for a performer and is not to be typed yet; empty without any."""
    if answer.frame is None or answer.advice.held is None:
        return ""
    return dial_told(answer.advice.held, answer.frame.dial_step)


def todo_told(answer: PerformerAnswer) -> str:
    """Say what is to be done for a performer, in the order in which it is to be done."""
    row, first = answer.frame, answer.advice.first
    if row is None:
        return "mend the file as the reason says, then run the cast again"
    if held(answer):
        return f"type nothing yet: {first or answer.advice.why_held}"
    if row.verdict is Verdict.BEYOND:
        then = "set the dial to its end"
        if row.left_over_mm:
            then += f"; {way(row.left_over_mm)} is left for the rig itself"
        return f"first {first}; then {then}" if first else then
    if first:
        return f"first {first}; then type the value"
    return row.todo or row.why


def why_told(answer: PerformerAnswer) -> str:
    """Say why a performer needs a person."""
    if answer.frame is None:
        return "; ".join(failure.line for failure in answer.failures)
    return answer.advice.why_held or answer.frame.why


def frame_dial_told(row: FrameRow, answer: PerformerAnswer) -> str:
    """Say what a frame's dial value is worth beside the one for its performer; empty where nothing is to say.

    The frame that speaks for its performer has its value told by itself.
    """
    own = own_dial(row)
    if own is None:
        found = "" if row.dial is None else dial_told(row.dial, row.dial_step)
        return f"{found} was found and is not advised" if found else ""
    here = dial_told(own, row.dial_step)
    if answer.frame is row:
        return "" if typed(answer) else f"not yet: {here} is held back, since {answer.advice.why_held}"
    alone = f"this frame alone asks for {here}"
    if typed(answer) and answer.frame is not None:
        return f"{alone}; for {answer.performer} type {typed(answer)}, from {answer.frame.name}"
    return f"{alone}, which is held back"


def frame_alone(row: FrameRow, answer: PerformerAnswer) -> bool:
    """Tell whether a frame asks for a dial value beside the frame that speaks for its performer."""
    return own_dial(row) is not None and answer.frame is not row


def list_dial(row: FrameRow, answer: PerformerAnswer) -> str:
    """Give what stands in the dial column of a list of all frames: one value a performer."""
    if own_dial(row) is None:
        return "none" if row.dial is None else "none advised"
    if not typed(answer):
        return "held back"
    assert answer.frame is not None
    return typed(answer) if answer.frame is row else f"see {answer.frame.name}"


def news_of(text: str) -> tuple[str, str]:
    """Split a text into its first sentence, which holds the news, and the rest.

    Examples
    --------
    >>> news_of("cam: apart by +4.0 mm. The rest share nothing.")
    ('cam: apart by +4.0 mm.', 'The rest share nothing.')
    """
    first, stop, rest = text.partition(". ")
    return (f"{first}.", rest) if stop else (text, "")


def lead_told(content: CastContent) -> str:
    """Say in one sentence how a cast stands."""
    people = sum(answer.needs_person for answer in content.answers)
    values = sum(bool(typed(answer)) for answer in content.answers)
    back = sum(bool(held(answer)) for answer in content.answers)
    performers = len(content.answers)
    need = "needs" if people == 1 else "need"
    parts = [f"{people} of {performers} performer{'s' if performers != 1 else ''} {need} a person"]
    parts.append(f"{values} {'has' if values == 1 else 'have'} a dial value to type")
    if back:
        parts.append(f"{back} {'has one that is' if back == 1 else 'have one that is'} held back")
    return "; ".join(parts)


def picture_told(row: FrameRow) -> str:
    """Say in words what a frame's picture shows, with its numbers."""
    return f"Before and after, {row.name}: {row.verdict}, offset {offset_told(row)}"
