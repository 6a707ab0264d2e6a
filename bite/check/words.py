"""Numbers and verdicts in words: the same on the terminal, in figures and in pages."""

from __future__ import annotations

from math import isfinite

from bite.check.assessment import Assessment
from bite.check.decision import Decision, DialMove, Verdict, way
from bite.check.earned import CANNOT_TELL
from bite.check.finding import Finding
from bite.stats.estimate import Estimate

CAUTION = (
    "Not a medical device. Never force a bite; mind light near eyes, head-worn weight, and face privacy."
)


def rounded_pair(value: float, sd: float) -> tuple[str, str]:
    """Round an sd to two significant digits and its value to the same place.

    A value whose sd is 0 or not finite is given to three significant digits.

    Parameters
    ----------
    value, sd : float, in one unit

    Returns
    -------
    value, sd : str

    Examples
    --------
    >>> rounded_pair(1.4182, 0.1123)
    ('1.42', '0.11')
    >>> rounded_pair(-0.0004, 0.0996)
    ('0.00', '0.10')
    >>> rounded_pair(1234.5, 271.0)
    ('1230', '270')
    """
    if not (isfinite(value) and isfinite(sd) and sd > 0):
        return f"{value:.3g}", f"{sd:.2g}"
    places = 1 - int(f"{sd:.1e}".partition("e")[2])
    return _to_place(value, places), _to_place(sd, places)


def _to_place(value: float, places: int) -> str:
    return f"{round(value, places) + 0.0:.{max(places, 0)}f}"


def signed(text: str) -> str:
    """Put a plus before a number that has no minus and is not zero.

    Examples
    --------
    >>> signed("1.40"), signed("-0.2"), signed("0.00")
    ('+1.40', '-0.2', '0.00')
    """
    return text if text.startswith("-") or not float(text) > 0 else f"+{text}"


def told(estimate: Estimate, unit: str, *, sign: bool = False, pm: str = "+-") -> str:
    """Give value, sd and unit in one piece.

    Examples
    --------
    >>> told(Estimate(1.4182, 0.1123), "mm", sign=True)
    '+1.42 +- 0.11 mm'
    """
    value, sd = rounded_pair(estimate.value, estimate.sd)
    return f"{signed(value) if sign else value} {pm} {sd} {unit}"


def way_told(offset: Estimate) -> str:
    """Say a move in words, with its sd.

    Examples
    --------
    >>> way_told(Estimate(-1.4182, 0.1123))
    '1.42 +- 0.11 mm back'
    """
    size = told(Estimate(abs(offset.value), offset.sd), "mm")
    return f"{size} {'forward' if offset.value > 0 else 'back'}"


def interval_told(estimate: Estimate, unit: str) -> str:
    """Give the 95 % interval to the place of the sd.

    Examples
    --------
    >>> interval_told(Estimate(1.4182, 0.1123), "mm")
    '+1.20 to +1.64 mm'
    """
    low, high = (signed(rounded_pair(end, estimate.sd)[0]) for end in estimate.interval)
    return f"{low} to {high} {unit}"


def dial_told(value: float, step: float = 0.01) -> str:
    """Give a dial value to the place of the dial's step, at least two.

    Examples
    --------
    >>> dial_told(-0.44), dial_told(0.4405, 0.0005), dial_told(-0.0)
    ('-0.44', '0.4405', '0.00')
    """
    places = 2
    while places < 6 and abs(round(step, places) - step) > 1e-9:
        places += 1
    return f"{value + 0.0:.{places}f}"


def step_of(assessment: Assessment) -> float:
    """Give the step of the rig's dial, 0.01 without a rig."""
    rig = assessment.frame.rig
    return rig.dial.step if rig else 0.01


def dial_before(assessment: Assessment) -> float | None:
    """Give the dial value that the model was solved with."""
    move, solved = assessment.decision.move, assessment.frame.file.solved
    if move is not None:
        return move.before
    return solved.dial if solved is not None else None


def dial_stands(assessment: Assessment) -> bool:
    """Tell whether the verdict stands behind the dial value, or only shows it beside a refusal."""
    stands = (Verdict.LEAVE, Verdict.MOVE, Verdict.BEYOND)
    return assessment.decision.move is not None and assessment.decision.verdict in stands


def what_to_do(assessment: Assessment) -> str:
    """Say the verdict as an instruction, with the dial value where the verdict stands behind one."""
    offset = assessment.fit.offset if assessment.fit else None
    if assessment.decision.verdict is Verdict.UNSURE and assessment.frame.file.solved is None:
        return "this frame is not known to register a bite"
    return instruction(assessment.decision, offset, step_of(assessment))


def instruction(decision: Decision, offset: Estimate | None, step: float) -> str:
    """Say a decision as an instruction.

    Parameters
    ----------
    decision : Decision
    offset : Estimate or None, mm
    step : float, of the dial
    """
    move = decision.move
    match decision.verdict:
        case Verdict.LEAVE:
            stays = f": the dial stays at {dial_told(move.after, step)}" if move else ""
            return f"leave the teeth where they are{stays}"
        case Verdict.MOVE if offset and move:
            left = f", which leaves {way(move.left_over_mm)}" if move.tells_left_over else ""
            return f"move the teeth {way_told(offset)}: {_set(move, step)}{left}"
        case Verdict.BEYOND if offset and move:
            left = f"which leaves {way(move.left_over_mm)} to do in the rig itself"
            return f"the teeth must move {way_told(offset)}: {_set(move, step)}, {left}"
        case Verdict.UNSURE:
            return f"do not move the teeth: {decision.todo or 'this evidence does not settle it'}"
        case Verdict.RESHOOT:
            return "choose or shoot another frame"
        case Verdict.USABLE:
            if decision.why.startswith(CANNOT_TELL):
                return "usable, if the teeth were closed: this picture cannot tell"
            return "the frame can register a bite"
    return decision.why


def _set(move: DialMove, step: float) -> str:
    to = "to its end at" if move.saturated else "to"
    return f"set the dial from {dial_told(move.before, step)} {to} {dial_told(move.after, step)}"


def headline(assessment: Assessment) -> str:
    """Give frame, verdict and instruction in one line."""
    return f"{assessment.frame.name}: {assessment.decision.verdict.upper()} - {what_to_do(assessment)}"


def reason(assessment: Assessment) -> str:
    """Give the decision's own sentence where it adds to the headline, else nothing."""
    decision = assessment.decision
    return "" if decision.verdict in (Verdict.MOVE, Verdict.BEYOND) else decision.why


def measured_told(finding: Finding, pm: str = "+-") -> str:
    """Give what a finding measured, with its sd and limit; empty where it measured nothing.

    Examples
    --------
    >>> from bite.check.finding import Severity
    >>> measured_told(Finding("sharp", Severity.OK, "", measured=2.13, sd=0.2, limit=4.0, unit="px"))
    'measured 2.13 +- 0.20 px, limit 4 px'
    """
    if finding.measured is None:
        return ""
    unit = f" {finding.unit}" if finding.unit not in ("", "1") else ""
    if finding.sd is None:
        text = f"measured {finding.measured:.3g}{unit}"
    else:
        value, sd = rounded_pair(finding.measured, finding.sd)
        text = f"measured {value} {pm} {sd}{unit}"
    return text if finding.limit is None else f"{text}, limit {finding.limit:.3g}{unit}"
