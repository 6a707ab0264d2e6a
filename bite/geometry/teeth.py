"""The incisor corners this project speaks of, and what is known of their size.

Tooth numbers follow ISO 3950: 11 is the performer's upper right central incisor, so in an unmirrored picture
it stands on the left. ``d`` is the distal angle (away from the midline), ``m`` the mesial one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

UPPER_CORNERS = ("11d", "11m", "21m", "21d")
LOWER_CORNERS = ("41d", "41m", "31m", "31d")
CORNERS = UPPER_CORNERS + LOWER_CORNERS
"""All corners, each row in picture order from left to right."""
DISTAL_CORNERS = ("11d", "21d", "41d", "31d")

LANDMARKS = (
    "subnasale",
    "labrale_superius",
    "labrale_inferius",
    "cheilion_right",
    "cheilion_left",
    "pronasale",
    "pogonion",
)


class Part(StrEnum):
    """What a surface belongs to. ``other`` (gums, tongue) hides things and is never evidence."""

    SKIN = "skin"
    UPPER = "upper"
    LOWER = "lower"
    OTHER = "other"


PARTS = (Part.SKIN, Part.UPPER, Part.LOWER, Part.OTHER)
"""Parts in label order: a label image stores the index into this tuple, -1 where there is nothing."""
SKIN, UPPER, LOWER, OTHER = range(4)


@dataclass(frozen=True, slots=True)
class CrownWidth:
    """Mesiodistal width of one crown over a population, mm."""

    mean_mm: float
    sd_mm: float
    source: str


UPPER_CENTRAL = CrownWidth(
    8.6,
    0.6,
    "mean between Nelson & Ash 8.5 and Orozco-Varo 2015 8.71; sd Kaewplung 2008 0.6 "
    "(reference/crown_widths.toml)",
)
LOWER_CENTRAL = CrownWidth(
    5.4,
    0.45,
    "mean of Alqahtani 2021 5.49 M / 5.31 F; no sd was published: as large a share as upper laterals vary "
    "by, the most variable incisors with a published one (reference/crown_widths.toml)",
)


def is_upper(corner: str) -> bool:
    """Tell whether a corner belongs to the upper row.

    Examples
    --------
    >>> is_upper("11d"), is_upper("41d")
    (True, False)
    """
    return corner[0] in "12"


def mirrored(corner: str) -> str:
    """Give the same corner on the performer's other side.

    Examples
    --------
    >>> [mirrored(c) for c in ("11d", "31m")]
    ['21d', '41m']
    """
    return {"1": "2", "2": "1", "3": "4", "4": "3"}[corner[0]] + corner[1:]
