"""A cast as data: `bite-cast-result 1` and a table, the same content giving the same bytes."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path
from typing import Any

from bite.cast.advice import advised_dials
from bite.cast.content import CastContent, DeviceSummary, FrameRow
from bite.files.result import result_text

FORMAT = "bite-cast-result 1"
_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
COLUMNS = (
    "frame", "performer", "device", "verdict", "dial_before", "dial", "dial_not_advised", "dial_advised",
    "offset_mm", "sd_mm", "sampling_sd_mm", "systematic_sd_mm", "low_mm", "high_mm",
    "need_from_dial_0_mm", "left_over_mm", "sideways_mm", "upwards_mm", "why", "to_do", "failed", "warned",
    "annotators", "file",
)  # fmt: skip


def cast_json(content: CastContent, folder: Path) -> str:
    """Give the text of cast.json; file paths are as seen from ``folder``."""
    table: dict[str, Any] = {
        "format": FORMAT,
        "cast": content.name,
        "tolerance_mm": content.tolerance_mm,
        "performance_device": content.performance_device,
        "frames": [_frame(row, folder) for row in content.rows],
        "failures": [
            {"file": f.path, "kind": str(f.kind), "line": f.line, "frame": f.name or None,
             "performer": f.performer or None}
            for f in content.failures
        ],
        "performers": [
            {
                "performer": answer.performer,
                "frame": answer.frame.name if answer.frame else None,
                "dial": answer.advice.dial,
                "dial_held": answer.advice.held,
                "why_held": answer.advice.why_held,
                "look_first": answer.advice.first,
                "others": [row.name for row in answer.others],
            }
            for answer in content.answers
        ],
        "devices": [_device(summary) for summary in content.devices],
        "notes": [
            {"code": n.code, "severity": str(n.severity), "text": n.text, "todo": n.todo,
             "frames": [*n.frames]}
            for n in content.notes
        ],
        "version": content.version,
    }  # fmt: skip
    return result_text(table)


def cast_csv(content: CastContent) -> str:
    """Give the text of cast.csv: one row a frame, failed ones last.

    ``dial`` holds only what is to be typed, and is empty where nothing is; a value that was found and is not
    advised stands in ``dial_not_advised``. A text that a spreadsheet would take for a formula gets an
    apostrophe before it; numbers stay numbers, and what was not measured is empty.
    """
    advised = advised_dials(content.answers, content.tolerance_mm)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in content.rows:
        writer.writerow(
            [
                *map(cell, (row.name, row.performer, row.device, str(row.verdict))),
                *map(_number, (row.dial_before, advised.get(row.name))),
                _number(None if row.name in advised else row.dial),
                "yes" if row.name in advised else "no",
                *map(_number, (row.t_mm, row.sd_mm, row.sampling_sd_mm, row.systematic_sd_mm)),
                *map(_number, (row.low_mm, row.high_mm, row.need_mm, row.left_over_mm)),
                *map(_number, (row.right_mm, row.up_mm)),
                *map(cell, (row.why, row.todo, " ".join(row.failed_codes), " ".join(row.warned_codes))),
                *map(cell, (", ".join(row.annotators), row.path)),
            ]
        )
    for failure in content.failures:
        named = (failure.name, failure.performer, failure.device, str(failure.kind))
        blank = [""] * (COLUMNS.index("why") - len(named))
        writer.writerow([*map(cell, named), *blank, cell(failure.line), "", "", "", "", cell(failure.path)])
    return stream.getvalue()


def cell(text: str) -> str:
    """Give a text cell that no spreadsheet takes for a formula.

    Examples
    --------
    >>> cell("=1+1"), cell("tern"), cell("-a")
    ("'=1+1", 'tern', "'-a")
    """
    return f"'{text}" if text.startswith(_STARTS_A_FORMULA) else text


def _number(value: float | None) -> str:
    return "" if value is None else f"{value + 0.0:.7g}"


def _frame(row: FrameRow, folder: Path) -> dict[str, Any]:
    return {
        "frame": row.name,
        "performer": row.performer,
        "device": row.device,
        "verdict": str(row.verdict),
        "dial": row.dial,
        "dial_before": row.dial_before,
        "dial_advised": row.dial_advised,
        "left_over_mm": row.left_over_mm,
        "t_mm": row.t_mm,
        "sd_mm": row.sd_mm,
        "sampling_sd_mm": row.sampling_sd_mm,
        "systematic_sd_mm": row.systematic_sd_mm,
        "interval_mm": None if row.low_mm is None else [row.low_mm, row.high_mm],
        "need_from_dial_0_mm": row.need_mm,
        "why": row.why,
        "todo": row.todo,
        "failed": list(row.failed_codes),
        "warned": list(row.warned_codes),
        "file": row.path,
        "result": Path(os.path.relpath(row.result, folder)).as_posix(),
        "result_sha256": row.result_sha256,
        "picture_sha256": row.picture_sha256,
    }


def _device(summary: DeviceSummary) -> dict[str, Any]:
    found, shift = summary.shift, summary.shift.shift
    return {
        "device": summary.device,
        "sharing": str(found.sharing),
        "performers": [
            {"performer": m.performer, "frames": m.frames, "need_mm": m.value_mm, "sampling_sd_mm": m.sd_mm}
            for m in found.performers
        ],
        "shift_mm": shift.mean if shift else None,
        "shift_se_mm": shift.se if shift else None,
        "shift_interval_mm": list(shift.interval) if shift else None,
        "mean_sd_mm": found.mean_sd_mm,
        "systematic_sd_mm": found.systematic_sd_mm,
        "spread_mm": shift.tau if shift else None,
        "spread_dersimonian_laird_mm": found.spread_dl_mm,
        "outliers": [
            {"performer": o.performer, "off_mm": o.off_mm, "off_sd": o.off_sd, "left_out": o.left_out}
            for o in found.outliers
        ],
        "enamel_bias_assumed_mm": summary.assumed_enamel_mm,
        "enamel_bias_proposed_mm": summary.learned.value_mm if summary.learned else None,
        "enamel_bias_proposed_sd_mm": summary.learned.sd_mm if summary.learned else None,
        "text": summary.text,
        "todo": summary.todo,
    }
