"""Was the frame shot with the class of device that the performances use? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity

CODE = "same-device"


def same_device(device: str, performance_device: str | None) -> Finding:
    """Compare the frame's device with the cast's performance device.

    Examples
    --------
    >>> str(same_device("bench-depth", "helmet").severity)
    'warn'
    """
    if performance_device is None:
        return Finding(
            CODE,
            Severity.NOTE,
            f"shot with {device}; not compared, since no performance device was named",
            "name the device of the performances (--device NAME, or performance_device in a cast file)",
        )
    if device == performance_device:
        return Finding(CODE, Severity.OK, f"shot with {device}, as the performances are")
    return Finding(
        CODE,
        Severity.WARN,
        f"shot with {device}, but the performances use {performance_device}",
        "what a device does to depth on enamel does not carry over: register the bite with the device of "
        "the performance",
    )
