"""Was the depth sensor's own table given, and what does a guess in its place cost? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.files.depth import Matching
from bite.files.device import Device
from bite.fit.offset import OffsetFit

CODE = "device-known"


def device_known(device: Device, fit: OffsetFit, stereo: Matching | None = None) -> Finding:
    """Say which of the device's numbers were guessed; only asked where the offset leans on depth.

    A pair of views has no sensor to be measured: its blur is that of the patches that were matched, and how
    deep it sees enamel matters only where enamel was matched.

    Parameters
    ----------
    device : Device
    fit : OffsetFit
    stereo : Matching or None, how depth was matched from two views
    """
    if stereo is not None:
        return _matched(device, fit, stereo)
    lacks = [
        words
        for words, value in (
            ("how deep it sees enamel", device.enamel_bias_mm),
            ("its smoothing", device.smoothing_px),
        )
        if value is None
    ]
    measured = fit.systematic_sd_mm
    if not lacks:
        return Finding(CODE, Severity.OK, f"what is known of {device.name} is in {device.source}")
    what = " and ".join(lacks)
    return Finding(
        CODE,
        Severity.NOTE,
        f"no table says of {device.name} {what}: built-in guesses stand in, and {measured:.2f} mm of the "
        "offset's sd come from what this frame cannot test",
        "measure the sensor (bite device) and write a device table, or take the enamel bias that a cast "
        "learns (--learn-device)",
        measured=measured,
        unit="mm",
    )


def _matched(device: Device, fit: OffsetFit, stereo: Matching) -> Finding:
    views = " and ".join(stereo.views)
    if not stereo.enamel_used:
        return Finding(CODE, Severity.OK, f"depth was matched from {views}, on skin alone: no sensor's error")
    if device.enamel_bias_mm is not None:
        return Finding(CODE, Severity.OK, f"what is known of {device.name} is in {device.source}")
    return Finding(
        CODE,
        Severity.NOTE,
        f"how deep {views} see enamel is a built-in guess, and {fit.systematic_sd_mm:.2f} mm of the offset's "
        "sd come from what this frame cannot test",
        f"state enamel_bias_mm and enamel_bias_sd_mm of {device.name} in a device table, if it was measured",
        measured=fit.systematic_sd_mm,
        unit="mm",
    )
