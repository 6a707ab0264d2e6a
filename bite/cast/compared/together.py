"""What the frames of each device show together, in words: one shift of all, who stands apart, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bite.cast.content import DeviceSummary, FrameRow
from bite.check.decision import Verdict, way
from bite.check.finding import Severity
from bite.stats.estimate import Z95
from bite.stats.pooling import Pooled
from bite.stats.shared_shift import (
    LearnedBias,
    Outlier,
    PerformerMean,
    Reading,
    SharedShift,
    Sharing,
    learned_bias,
    performer_means,
    shared_shift,
)

LEAST_PER_ENAMEL = 0.5
"""Below this depth does not decide the offset, and a shift says little of enamel (our choice)."""


def pooled_reading(row: FrameRow) -> Reading | None:
    """Give a row's offset for pooling; None where it must not speak for others.

    Left out are frames that cannot register a bite or failed a check, fits that did not settle, and models
    at a dial value whose place nobody has measured, and pictures that another frame holds already.
    """
    if row.need_mm is None or row.sampling_sd_mm is None or not row.sampling_sd_mm > 0 or not row.converged:
        return None
    if row.verdict is Verdict.RESHOOT or row.failed_codes or row.twin_of:
        return None
    return Reading(row.performer, row.need_mm, row.sampling_sd_mm, row.systematic_sd_mm or 0.0)


def with_twins(rows: Sequence[FrameRow]) -> tuple[FrameRow, ...]:
    """Give rows that know whose picture or depth map they repeat, by content, in the order of names."""
    first: dict[str, str] = {}
    twin: dict[str, str] = {}
    for row in sorted(rows, key=lambda r: (r.name, r.path)):
        known = next((first[held] for held in row.evidence if held in first), "")
        if known:
            twin[row.path] = known
        for held in row.evidence:
            first.setdefault(held, row.name)
    return tuple(replace(row, twin_of=twin.get(row.path, "")) for row in rows)


def device_readings(rows: Sequence[FrameRow], device: str) -> list[tuple[FrameRow, Reading]]:
    """List the rows of one device that can be pooled."""
    pairs = ((row, pooled_reading(row)) for row in sorted(rows, key=lambda r: r.name) if row.device == device)
    return [(row, reading) for row, reading in pairs if reading is not None]


def device_summaries(rows: Sequence[FrameRow], *, tolerance_mm: float) -> tuple[DeviceSummary, ...]:
    """Summarise each device of a cast, in the order of names; devices without any reading are left out."""
    found = []
    for device in sorted({row.device for row in rows}):
        pairs = device_readings(rows, device)
        if pairs:
            found.append(_summary(device, pairs, tolerance_mm))
    return tuple(found)


def means_by_performer(rows: Sequence[FrameRow]) -> tuple[PerformerMean, ...]:
    """Pool the readings of each performer over all devices."""
    return performer_means([reading for row in rows if (reading := pooled_reading(row)) is not None])


def _summary(device: str, pairs: list[tuple[FrameRow, Reading]], tolerance_mm: float) -> DeviceSummary:
    shift = shared_shift([reading for _, reading in pairs], tolerance_mm=tolerance_mm)
    kept_out = {outlier.performer for outlier in shift.outliers if outlier.left_out}
    rows = [row for row, _ in pairs if row.performer not in kept_out]
    assumed = {row.assumed_enamel_mm for row in rows}
    learned, why_not = _learned(shift, rows, assumed)
    text, todo, severity = _shift_told(device, shift, learned, why_not, assumed)
    if shift.outliers:
        told = ", ".join(_outlier_told(outlier) for outlier in shift.outliers)
        names = ", ".join(outlier.performer for outlier in shift.outliers)
        todo = todo or f"look at {names} before typing: is that the usual bite, and the rig like the others'?"
        if severity in (Severity.OK, Severity.NOTE):
            # what is new comes first
            stand = "stands" if len(shift.outliers) == 1 else "stand"
            apart = f"{device}: {names} {stand} apart from all other performers: {told}."
            text = f"{apart} Beside that, {text.removeprefix(f'{device}: ')}"
            severity = Severity.WARN
        else:
            text += f" Apart from all others: {told}."
    return DeviceSummary(
        device, shift, learned, next(iter(assumed)) if len(assumed) == 1 else None, text, todo, severity
    )


def _learned(shift: SharedShift, rows: list[FrameRow], assumed: set[float]) -> tuple[LearnedBias | None, str]:
    if shift.sharing is not Sharing.COMMON or shift.shift is None:
        return None, ""
    if len(assumed) != 1:
        return None, "its frames were checked against different device tables; check them all against one"
    slopes = [row.per_enamel_mm for row in rows if row.per_enamel_mm is not None]
    if len(slopes) < len(rows) or min(slopes) < LEAST_PER_ENAMEL:
        return None, "in some of its frames depth does not decide the offset"
    return proposed_bias(shift.shift, next(iter(assumed)), float(np.median(slopes))), ""


def proposed_bias(shift: Pooled, assumed_mm: float, per_enamel_mm: float) -> LearnedBias:
    """Turn a common shift into an enamel bias whose sd can stand in a device table.

    A table's sd is taken as that of a Gaussian. The mean of few performers follows Student's t, so its sd is
    widened until 1.96 of it reach as far as the 95 % interval of the mean does: 2.2 times for three
    performers, 1.1 times for fourteen.
    """
    found = learned_bias(shift, assumed_mm=assumed_mm, per_enamel_mm=per_enamel_mm)
    low, high = shift.interval
    return replace(found, sd_mm=(high - low) / 2.0 / Z95 / abs(per_enamel_mm))


def _outlier_told(outlier: Outlier) -> str:
    left = ", left out of the mean" if outlier.left_out else ""
    return f"{outlier.performer} by {outlier.off_mm:+.1f} mm ({abs(outlier.off_sd):.1f} sd{left})"


def _shift_told(
    device: str, found: SharedShift, learned: LearnedBias | None, why_not: str, assumed: set[float]
) -> tuple[str, str, Severity]:
    shift = found.shift
    assert shift is not None
    count = f"{shift.k} performer{'s' if shift.k != 1 else ''}"
    low, high = shift.interval
    told = f"{shift.mean:+.2f} mm (95 % interval {low:+.2f} to {high:+.2f} mm, {count}"
    told += f", spread between them {shift.tau:.2f} mm)" if shift.tau is not None else ")"
    match found.sharing:
        case Sharing.UNKNOWN:
            why = "too few performers to tell a shift of all from one mouth"
            return f"{device}: mean {told}: {why}.", "", Severity.NOTE
        case Sharing.NONE:
            return f"{device}: no shift common to all performers: mean {told}.", "", Severity.OK
        case Sharing.SMALL:
            return f"{device}: a common shift, too small to matter: {told}.", "", Severity.NOTE
        case Sharing.MIXED:
            text = f"{device}: performers share a shift of {told}, but they differ from one another too."
            todo = (
                "look at the device's settings and table and the rigs' default before typing values; then "
                "at each performer"
            )
            return text, todo, Severity.WARN
    text = (
        f"{device}: every performer asks for about the same move, {way(shift.mean)}: {told}. That points at "
        f"the sensor, its settings or table, or the rigs' default, not at {shift.k} mouths."
    )
    todo = "do not type the dial values yet: find the common cause first."
    if learned is None:
        return text, todo + (f" No enamel bias is proposed: {why_not}." if why_not else ""), Severity.FAIL
    sd = found.systematic_sd_mm
    if sd > 0 and abs(shift.mean) > 3 * sd:
        text += f" It is {abs(shift.mean) / sd:.0f} times the {sd:.2f} mm that the device table leaves open."
    todo += (
        f" If the sensor's settings and the rigs' default are right, enamel_bias_mm = {learned.value_mm:.2f} "
        f"with enamel_bias_sd_mm = {learned.sd_mm:.2f} in the table of {device} (now "
        f"{next(iter(assumed)):.2f}) takes the shift away; bite cast --learn-device FILE writes it."
    )
    if learned.value_mm < 0:
        todo += (
            " A bias below 0 would mean that enamel reads too near, which its translucency does not do: "
            "suspect the rigs' default or the depth camera's calibration first."
        )
    return text, todo, Severity.FAIL
