"""Write what a cast has taught about its devices as device tables."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

from bite.cast.content import DeviceSummary, FrameRow
from bite.errors import InputError
from bite.files.atomic import write_text
from bite.files.device import Device
from bite.files.result import read_result
from bite.files.source import stands

LEAST_SD_MM = 0.02
"""No cast knows its enamel better than this: teeth differ (our choice)."""


def learned_tables(summaries: Sequence[DeviceSummary], known: dict[str, Device]) -> str:
    """Give the text of a device file with each learned enamel bias; empty where none was learned.

    Parameters
    ----------
    summaries : sequence of DeviceSummary
    known : mapping from device name to what is known of it now; its other values are carried over
    """
    parts = []
    for summary in summaries:
        if summary.learned is None or summary.shift.shift is None:
            continue
        device = known.get(summary.device) or Device(summary.device, "none")
        sd = max(LEAST_SD_MM, math.ceil(summary.learned.sd_mm * 1000) / 1000)
        values = {
            "smoothing_px": device.smoothing_px,
            "smoothing_sd_px": device.smoothing_sd_px,
            "enamel_bias_mm": round(summary.learned.value_mm, 3) + 0.0,
            "enamel_bias_sd_mm": sd,
            "noise_mm": device.noise_mm,
            "correlation_px": device.correlation_px,
        }
        mean, k = summary.shift.shift.mean, summary.shift.shift.k
        lines = [f"# enamel bias learned from {k} performers, whose offsets shared {mean:+.2f} mm"]
        lines.append(f"[device.{json.dumps(summary.device, ensure_ascii=False)}]")
        lines += [f"{key} = {float(value)!r}" for key, value in values.items() if value is not None]
        lines += [f"filter = {json.dumps(device.filter)}"] if device.filter is not None else []
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def write_learned(path: Path, text: str) -> None:
    """Write a device file that is not there yet.

    Raises
    ------
    InputError
        When the file exists: what people wrote is not replaced.
    """
    if stands(path):
        mend = "name a new file, and compare the two before you use it"
        raise InputError(path, "", "is there already", mend)
    write_text(path, text)


def known_devices(rows: Sequence[FrameRow]) -> dict[str, Device]:
    """Give the device tables that the frames' results were made with, one for each name."""
    found: dict[str, Device] = {}
    for row in rows:
        if row.device not in found:
            table = read_result(row.result)["settings"]["device"]
            found[row.device] = Device(row.device, **table)
    return found
