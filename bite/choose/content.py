"""What is measured of each frame of a take, and what is made of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from bite.check.finding import Finding
from bite.choose.carry import CarriedPoint, Lost


class Standing(StrEnum):
    """Whether a frame can be a bite frame."""

    FIT = "fit"
    DOUBTFUL = "doubtful"
    UNFIT = "unfit"
    UNJUDGED = "not judged"
    """nobody clicked: bite and teeth are not known"""


@dataclass(frozen=True, slots=True)
class Measures:
    """One frame of a take, measured; None where it was not.

    Parameters
    ----------
    number, name, path : the frame; ``path`` is None in a video
    clicked : bool, the frame that was clicked
    points, lost : mappings from corner code
    likeness : float, of the upper teeth with the clicked ones
    matched : bool, the corners were matched against the clicked picture, not only from frame to frame
    middle_px : (float, float), of the upper incisal edge
    crown_px, mm_per_px : float, on the incisors
    edge_px : float, sd of the blur on the sharper of the mouth's edges, along or across the row: soft borders
        of gum and shade, which lips uncover, are no blur
    clipped : float, share of the upper enamel that is clipped bright
    enamel_mm2, upper_mm, lower_mm : float, bare enamel in sight: area, and height above and below the edge
    jaw_drop_mm, jaw_drop_sd_mm : float, lower row against where it was clicked
    motion_px : float, px per frame, to the neighbour it moved more against
    depth_share : float, share of the enamel that has a depth reading
    noise_mm, correlation_px : float, of the depth map; None: assumed ones were used
    sd_mm : float, sd of the offset that can be expected
    findings : tuple of Finding, of the checks that a single picture allows
    """

    number: int
    name: str
    path: Path | None
    clicked: bool = False
    points: Mapping[str, CarriedPoint] | None = None
    lost: Mapping[str, Lost] | None = None
    likeness: float | None = None
    matched: bool = False
    middle_px: tuple[float, float] | None = None
    crown_px: float | None = None
    mm_per_px: float | None = None
    edge_px: float | None = None
    clipped: float | None = None
    enamel_mm2: float | None = None
    upper_mm: float | None = None
    lower_mm: float | None = None
    jaw_drop_mm: float | None = None
    jaw_drop_sd_mm: float | None = None
    motion_px: float | None = None
    depth_share: float | None = None
    noise_mm: float | None = None
    correlation_px: float | None = None
    sd_mm: float | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Ranked:
    """One frame in its place.

    Parameters
    ----------
    rank : int, 1 is the best
    measures : Measures
    standing : Standing
    cost_mm : float or None, what it was ranked by: the expected sd, and what blur and motion add
    why : str, in words: what speaks against it, or for it
    """

    rank: int
    measures: Measures
    standing: Standing
    cost_mm: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Chosen:
    """A take, ranked.

    Parameters
    ----------
    take_name : str
    frames_read : int
    clicked : int or None, the frame that the corners were clicked in
    ranked : tuple of Ranked, best first
    notes : tuple of str, lines for people: frames that could not be read, what was assumed
    depth_given : bool, depth maps were used
    marks : tuple of int, marks of the frames as they were read, by number
    """

    take_name: str
    frames_read: int
    clicked: int | None
    ranked: tuple[Ranked, ...]
    notes: tuple[str, ...]
    depth_given: bool
    marks: tuple[int, ...] = ()

    @property
    def fit(self) -> tuple[Ranked, ...]:
        """Frames that can be bite frames."""
        return tuple(one for one in self.ranked if one.standing is Standing.FIT)
