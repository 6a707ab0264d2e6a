"""One frame of a cast: take the result that holds, or check the frame and save it; a row either way."""

from __future__ import annotations

import json
import os
import traceback
from pathlib import Path
from typing import Any

from bite.cast.page_picture import page_picture
from bite.cast.row import row_of
from bite.cast.saved import PICTURE_SUFFIX, RESULT_SUFFIX, saved_result
from bite.cast.settings import CastSettings
from bite.errors import BiteError, InputError
from bite.files.frame import FrameFile, read_frame_file
from bite.report.cast_content import FailedFrame, FailureKind, FrameRow


def frame_row(path: Path, shown: str, settings: CastSettings) -> FrameRow | FailedFrame:
    """Give a frame's row, or why there is none; never raises.

    Parameters
    ----------
    path : Path, of the frame file
    shown : str, how that path is told
    settings : CastSettings
    """
    file: FrameFile | None = None
    try:
        file = read_frame_file(path)
        saved = saved_result(file, settings)
        if saved is not None:
            try:
                picture = page_picture(saved.picture, settings.pictures)
                return row_of(saved.content, shown, saved.result, picture)
            except (InputError, KeyError, TypeError, ValueError, AttributeError):
                pass  # right hashes, broken content: done again
        content, folder = check_and_save(path, file.name, settings)
        picture = page_picture(folder / f"{file.name}{PICTURE_SUFFIX}", settings.pictures)
        return row_of(content, shown, folder / f"{file.name}{RESULT_SUFFIX}", picture)
    except BiteError as error:
        line = told_from(settings.root, str(error)) if isinstance(error, InputError) else f"{shown}: {error}"
        return failed(shown, FailureKind.INPUT, line, file)
    except MemoryError:
        return failed(shown, FailureKind.KILLED, f"{shown}: memory ran out; use fewer --jobs", file)
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        at = f"{Path(last.filename).name}:{last.lineno}"
        line = f"{shown}: a fault in bite, {type(error).__name__} at {at}: {error}; bite check tells it whole"
        return failed(shown, FailureKind.FAULT, line, file)


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


def check_and_save(path: Path, name: str, settings: CastSettings) -> tuple[dict[str, Any], Path]:
    """Check a frame, save its result and picture, and give the result's content and folder.

    Raises
    ------
    InputError
        As `load_frame` and `check_frame`, or where the folder cannot be written.
    """
    from bite.check import check_frame
    from bite.files.atomic import write_together
    from bite.files.bundle import load_frame
    from bite.files.result import result_text
    from bite.report.before_after import before_after_figure, figure_bytes
    from bite.report.result import result_mapping

    frame = load_frame(path, devices=settings.devices)
    assessment = check_frame(
        frame, tolerance_mm=settings.tolerance_mm, performance_device=settings.performance_device
    )
    text = result_text(result_mapping(assessment))
    folder = settings.out or path.parent
    # the result comes last: where it stands, its picture does
    write_together(
        {
            folder / f"{name}{PICTURE_SUFFIX}": figure_bytes(before_after_figure(assessment)),
            folder / f"{name}{RESULT_SUFFIX}": text.encode(),
        }
    )
    content: dict[str, Any] = json.loads(text)
    return content, folder
