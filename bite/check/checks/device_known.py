"""Was the depth sensor's own table given, and what does a guess in its place cost? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.files.device import Device
from bite.fit.offset import OffsetFit

CODE = "device-known"


def device_known(device: Device, fit: OffsetFit) -> Finding:
    """Say which of the device's numbers were guessed; only asked where the offset leans on depth.

    Parameters
    ----------
    device : Device
    fit : OffsetFit
    """
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
