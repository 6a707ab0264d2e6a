"""The before-and-after picture as a file that says which drawing made it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from bite.plots.drawn_as import drawing_of
from bite.plots.png import note_in, png_bytes

if TYPE_CHECKING:
    from bite.check.assessment import Assessment
    from bite.check.solved_looks import Looks

_DRAWN_BY = (
    "plots",
    "check/panels",
    "check/before_after.py",
    "check/page_pictures.py",
    "check/sections.py",
    "check/solved_looks.py",
    "check/words.py",
    "evidence/model/moving_teeth.py",
    "evidence/model/outlines.py",
    "evidence/model/soft_light.py",
    "evidence/model/solved_mouth.py",
)
_HEAD_BYTES = 4096
"""So far into a file the note is looked for."""


def page_png(assessment: Assessment, looks: Mapping[str, Looks] | None = None) -> bytes:
    """Draw a frame's page as PNG; the same assessment gives the same bytes.

    Parameters
    ----------
    assessment : Assessment
    looks : mapping, optional, of ``solved_looks``, where the caller has them already
    """
    from bite.check.before_after import before_after_figure
    from bite.plots.saving import figure_pixels

    figure = before_after_figure(assessment, looks)
    return png_bytes(figure_pixels(figure), figure.dpi, note=drawing_of(*_DRAWN_BY))


def is_drawn_as_now(path: Path) -> bool:
    """Tell whether a page on disk is there and of the drawing that would be made now."""
    try:
        with open(path, "rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except OSError:
        return False
    return note_in(head) == drawing_of(*_DRAWN_BY)
