"""From the content of a result file to the row that tables and pooling use."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from bite.cast.content import FrameRow
from bite.cast.mouth_pictures import MouthPictures
from bite.cast.page_picture import PagePicture
from bite.check.decision import Verdict
from bite.check.finding import Severity
from bite.evidence.priors import ENAMEL_BIAS_MM
from bite.files.source import hash_file

_TODO = {
    Verdict.RESHOOT: "choose another frame of the take, or shoot one more",
    Verdict.UNSURE: "mend what the reason names, or choose another frame of the take",
}
"""What there is to do where neither a finding nor the decision says it."""

_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".pfm", ".npy", ".exr")


def row_of(
    content: Mapping[str, Any],
    path: str,
    result: Path,
    picture: PagePicture,
    mouth: MouthPictures | None = None,
) -> FrameRow:
    """Read a row out of a result.

    Raises
    ------
    KeyError, TypeError, ValueError
        When a key is missing or holds something else: a result that nobody should take.
    """
    offset, decision = content["offset"] or {}, content["decision"]
    findings = content["findings"]
    low, high = _numbers(offset.get("interval_mm") or (None, None))
    return FrameRow(
        path=path,
        name=str(content["frame"]),
        performer=str(content["performer"]),
        device=str(content["device"]),
        verdict=Verdict(decision["verdict"]),
        why=str(decision["why"]),
        todo=_todo(findings, decision),
        converged=bool(offset.get("converged", False)),
        failed_codes=_codes(findings, Severity.FAIL),
        warned_codes=_codes(findings, Severity.WARN),
        t_mm=_number(offset.get("t_mm")),
        sd_mm=_number(offset.get("sd_mm")),
        sampling_sd_mm=_number(offset.get("sampling_sd_mm")),
        systematic_sd_mm=_number(offset.get("systematic_sd_mm")),
        low_mm=low,
        high_mm=high,
        right_mm=_number(offset.get("lateral_right_mm")),
        right_sd_mm=_number(offset.get("lateral_right_sd_mm")),
        up_mm=_number(offset.get("lateral_up_mm")),
        up_sd_mm=_number(offset.get("lateral_up_sd_mm")),
        per_enamel_mm=_number(offset.get("per_enamel_mm")),
        assumed_enamel_mm=_assumed(content["settings"]["device"]["enamel_bias_mm"]),
        dial=_number(decision["dial"]),
        dial_before=_number(decision["dial_before"]),
        dial_before_mm=_number(decision["dial_before_mm"]),
        dial_step=_number(decision["dial_step"]) or 0.01,
        dial_advised=bool(decision["dial_advised"]),
        left_over_mm=_number(decision["left_over_mm"]),
        annotators=tuple(str(name) for name in content["annotators"]),
        result=result,
        result_sha256=hash_file(result),
        picture=picture.path,
        picture_sha256=picture.source_sha256,
        picture_width_px=picture.width_px,
        picture_height_px=picture.height_px,
        mouth=mouth,
        evidence=_evidence(content.get("inputs") or {}),
    )


def _evidence(inputs: Any) -> tuple[str, ...]:
    """Give the hashes of pictures and depth maps: those of meshes and rigs may be shared."""
    return tuple(str(inputs[name]) for name in sorted(inputs) if name.lower().endswith(_PICTURES))


def _number(value: Any) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise TypeError(f"needed a number, got {type(value).__name__}")
    return float(value)


def _numbers(values: Any) -> tuple[float | None, float | None]:
    first, second = values
    return _number(first), _number(second)


def _assumed(stated: Any) -> float:
    value = _number(stated)
    return ENAMEL_BIAS_MM if value is None else value


def _codes(findings: Any, severity: Severity) -> tuple[str, ...]:
    return tuple(str(finding["code"]) for finding in findings if finding["severity"] == severity)


def _todo(findings: Any, decision: Any) -> str:
    """Give what the worst finding asks for: findings come worst first.

    Where an offset is not known well enough, the decision's own sentence ends in what would settle it, and
    that comes before what a mere warning asks for.
    """
    failed, warned = (
        next((str(f["todo"]) for f in findings if f["severity"] == severity and f["todo"]), "")
        for severity in (Severity.FAIL, Severity.WARN)
    )
    settle = ""
    if decision["verdict"] == Verdict.UNSURE and not _codes(findings, Severity.FAIL):
        settle = str(decision["why"]).partition(": ")[2]
    return failed or settle or warned or _TODO.get(Verdict(decision["verdict"]), "")
