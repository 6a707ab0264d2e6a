"""Does a known kind of filter explain how steps come out in the depth map? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.depth.filter_found import FilterFound
from bite.fit.smoothing import Kind

CODE = "sensor-filter"
NOTE_PX, WARN_PX = 0.2, 0.4
"""Shift of map against model that the steps leave open, depth px, from which it is told and warned of (our
choice: beside a lip that stands off at 45 degrees, 0.2 px of 1 mm are 0.2 mm)."""
_SOURCE = "0.2 and 0.4 px of shift left at steps: our choice"
_MEASURE = "measure the sensor on a flat card (bite device) and name its filter in the device table"


def sensor_filter(found: FilterFound) -> Finding:
    """Judge what is left at the steps of the map, and tell the filter.

    A median has nothing to show of a strip narrower than half its window: such a frame is refused.

    Parameters
    ----------
    found : FilterFound
    """
    median = found.sensor.kind is Kind.MEDIAN
    text = f"steps come out as through {'a ' if median else ''}{found.told_as}"
    text += " (named in the device table)" if found.by_device else ""
    if found.left_px is None:
        text += ": too few steps to say"
        return Finding(CODE, Severity.OK, text, limit=NOTE_PX, unit="px", source=_SOURCE)
    text += f"; what is left there is worth a shift of {found.left_px:.2f} px"
    severity, todo, again = Severity.OK, "", False
    if median and found.strip_px is not None and found.strip_px <= 0.5 * (found.sensor.window_px + 1):
        severity, again = Severity.FAIL, True
        text += f"; a strip of enamel {found.strip_px:.0f} px high is lost in it"
        todo = "bare more of the teeth, bring the sensor nearer, or switch its filter off"
    elif found.left_px > WARN_PX:
        severity = Severity.WARN
        text += ", so that no filter known here explains them; depth near lips and rims counts for little"
        todo = _MEASURE
    elif found.left_px > NOTE_PX or (median and not found.by_device):
        severity, todo = Severity.NOTE, _MEASURE
    return Finding(CODE, severity, text, todo, found.left_px, None, NOTE_PX, "px", again, _SOURCE)
