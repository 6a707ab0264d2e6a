"""One frame of a cast: take the result that holds, or check the frame and save it; a row either way."""

from __future__ import annotations

import json
import os
import traceback
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bite.cast.content import FailedFrame, FailureKind, FrameRow
from bite.cast.mouth_pictures import mouth_of, mouth_of_result, saved_mouth
from bite.cast.page_picture import page_picture
from bite.cast.row import row_of
from bite.cast.runner.saved import PICTURE_SUFFIX, RESULT_SUFFIX, saved_result
from bite.cast.runner.settings import CastSettings
from bite.errors import BiteError, InputError
from bite.files.frame import FrameFile, read_frame_file
from bite.files.source import read_bytes

if TYPE_CHECKING:
    from bite.check.assessment import Assessment
    from bite.check.solved_looks import Looks


@dataclass(frozen=True, slots=True)
class EarlyVerdict:
    """What a check has found, told before its pictures are drawn and anything is saved."""

    name: str
    verdict: str
    why: str
    t_mm: float | None
    sd_mm: float | None


def frame_row(path: Path, shown: str, settings: CastSettings) -> FrameRow | FailedFrame:
    """Give a frame's row, or why there is none; never raises.

    Parameters
    ----------
    path : Path, of the frame file
    shown : str, how that path is told
    settings : CastSettings
    """
    for step in frame_steps(path, shown, settings):
        if not isinstance(step, EarlyVerdict):
            return step
    raise AssertionError("the last step is a row or a failure")


def frame_steps(
    path: Path, shown: str, settings: CastSettings
) -> Iterator[EarlyVerdict | FrameRow | FailedFrame]:
    """Give the verdict as soon as it is known, then the row once all is saved; never raises.

    The last thing given is a row or a failure, and the only one where a saved result holds. Parameters as
    `frame_row`.
    """
    file: FrameFile | None = None
    try:
        file = read_frame_file(path)
        row = _saved_row(file, shown, settings)
        if row is None:
            from bite.check.solved_looks import solved_looks

            text, assessment = _check(path, settings)
            # through text, since numbers in a result are rounded: the same row whether checked or read later
            content: dict[str, Any] = json.loads(text)
            decision = content["decision"]
            offset = content["offset"] or {"t_mm": None, "sd_mm": None}
            yield EarlyVerdict(
                file.name, decision["verdict"], decision["why"], offset["t_mm"], offset["sd_mm"]
            )
            folder = settings.out or path.parent
            looks = solved_looks(assessment)
            _save(text, assessment, looks, folder)
            picture = page_picture(folder / f"{file.name}{PICTURE_SUFFIX}", settings.pictures)
            mouth = mouth_of(assessment, looks, text.encode(), settings.pictures)
            row = row_of(content, shown, folder / f"{file.name}{RESULT_SUFFIX}", picture, mouth)
        yield row
    except BiteError as error:
        line = told_from(settings.root, str(error)) if isinstance(error, InputError) else f"{shown}: {error}"
        yield failed(shown, FailureKind.INPUT, line, file)
    except MemoryError:
        yield failed(shown, FailureKind.KILLED, f"{shown}: memory ran out; use fewer --jobs", file)
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        at = f"{Path(last.filename).name}:{last.lineno}"
        line = f"{shown}: a fault in bite, {type(error).__name__} at {at}: {error}; bite check tells it whole"
        yield failed(shown, FailureKind.FAULT, line, file)


def load_what_a_check_needs() -> None:
    """Import all that a check and its pictures use, so that the next frame does not wait for it."""
    import cv2  # noqa: F401  loading it is the point
    import pydantic  # noqa: F401  loading it is the point
    import scipy.fft
    import scipy.ndimage
    import scipy.special  # noqa: F401  loading it is the point

    from bite.plots.library import load_for_drawing

    load_for_drawing()


def told_from(root: Path, line: str) -> str:
    """Tell files as seen from the cast's folder: the same line wherever that folder lies."""
    return line.replace(f"{Path(os.path.abspath(root))}{os.sep}", "").replace(f"{root}{os.sep}", "")


def failed(shown: str, kind: FailureKind, line: str, file: FrameFile | None = None) -> FailedFrame:
    """Make a failure of one line, whatever letters a file put into it."""
    flat = "".join(c if c.isprintable() else " " for c in line)
    told = " ".join(flat.split())[:1000]
    if file is None:
        return FailedFrame(shown, kind, told)
    return FailedFrame(shown, kind, told, file.name, file.performer, file.device)


def _saved_row(file: FrameFile, shown: str, settings: CastSettings) -> FrameRow | None:
    saved = saved_result(file, settings)
    if saved is None:
        return None
    try:
        picture = page_picture(saved.picture, settings.pictures)
        data = read_bytes(saved.result)
        mouth = saved_mouth(data, settings.pictures)
        if mouth is None:
            mouth = mouth_of_result(file.path, saved.content, data, settings.pictures)
        return row_of(saved.content, shown, saved.result, picture, mouth)
    except (BiteError, KeyError, TypeError, ValueError, AttributeError):
        return None  # right hashes, broken content: done again


def _check(path: Path, settings: CastSettings) -> tuple[str, Assessment]:
    """Check a frame; give the text of its result, and what its pictures are drawn from."""
    from bite.check.result import result_mapping
    from bite.check.steps import check_frame
    from bite.files.bundle import load_frame
    from bite.files.result import result_text

    assessment = check_frame(
        load_frame(path, devices=settings.devices),
        tolerance_mm=settings.tolerance_mm,
        performance_device=settings.performance_device,
    )
    return result_text(result_mapping(assessment)), assessment


def _save(text: str, assessment: Assessment, looks: Mapping[str, Looks], folder: Path) -> None:
    from bite.check.page_file import page_png
    from bite.files.atomic import write_together

    name = assessment.frame.name
    # the result comes last: where it stands, its picture does
    write_together(
        {
            folder / f"{name}{PICTURE_SUFFIX}": page_png(assessment, looks),
            folder / f"{name}{RESULT_SUFFIX}": text.encode(),
        }
    )
