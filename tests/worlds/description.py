"""What a world is: its head, mouth, teeth, solve errors, hair, sensor, shot, clicks, picture and device."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

Range = tuple[float, float]
"""Lowest and highest of what is drawn uniformly for each frame."""


class Filter(StrEnum):
    """What a sensor does to its own map."""

    GAUSS = "gauss"
    BOX = "box"
    MEDIAN = "median"
    BILATERAL = "bilateral"
    BLOCK_MATCHING = "block matching"


class Storage(StrEnum):
    """How depths become stored numbers."""

    STEPS = "steps"
    """16-bit, whole steps of ``step``, mm"""
    DISPARITY = "disparity"
    """float32 mm, but only distances whose disparity is a whole multiple of ``step``, px"""
    INVERSE = "inverse"
    """8-bit inverse distance"""


@dataclass(frozen=True, slots=True)
class Head:
    """``spread``: how far the head's shape targets are drawn from the plain head (weight sd)."""

    spread: float = 0.25


@dataclass(frozen=True, slots=True)
class Mouth:
    """Where the lips' rims stand at the midline, mm above and below the upper incisal edge."""

    upper_mm: Range
    lower_mm: Range
    overjet_mm: Range = (2.0, 4.0)
    overbite_mm: Range = (1.0, 3.0)


WIDE_GRIN = Mouth(upper_mm=(7.5, 9.0), lower_mm=(3.5, 5.0))
HALF_OPEN = Mouth(upper_mm=(4.5, 5.5), lower_mm=(1.8, 2.6))
THIN_STRIP = Mouth(upper_mm=(2.5, 3.1), lower_mm=(0.7, 1.3))
"""About 3.8 mm of enamel show: 7 depth pixels at 300 mm and f 600 px."""


@dataclass(frozen=True, slots=True)
class Teeth:
    """How the solved teeth differ from the performer's beside standing wrongly.

    ``solved_scale`` enlarges the solved rows, ``worn_mm`` is missing from the performer's edges, ``generic``
    gives the solved head crowns of another mouth; ``scanned_mm`` is the sd of how much fuller or flatter than
    the performer's a row came out of a scan.
    """

    solved_scale: float = 1.0
    worn_mm: float = 0.0
    generic: bool = False
    scanned_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class SkinError:
    """What the solver got wrong in the skin.

    Parameters
    ----------
    waves_rms_mm, waves_length_mm : smooth waves along the normals
    upper_up_mm, lower_up_mm : a lip solved too high by this, slid along the face
    upper_out_mm : the upper lip solved too thick by this
    parted_mm : each lip solved too far from the other by half of this, sign drawn
    head_sd_mm, head_sd_deg : the whole solved head misplaced, per axis
    """

    waves_rms_mm: float = 0.0
    waves_length_mm: float = 50.0
    upper_up_mm: float = 0.0
    lower_up_mm: float = 0.0
    upper_out_mm: float = 0.0
    parted_mm: float = 0.0
    head_sd_mm: float = 0.2
    head_sd_deg: float = 0.15


class Where(StrEnum):
    """Where hair grows."""

    BEARD = "beard"
    """upper lip, cheeks and chin"""
    MOUSTACHE = "moustache"


@dataclass(frozen=True, slots=True)
class Hair:
    """Hair before the performer's skin, up to ``height_mm``, none within ``bare_mm`` of the teeth."""

    where: Where
    height_mm: float
    bare_mm: float


@dataclass(frozen=True, slots=True)
class Sensor:
    """A depth camera.

    Parameters
    ----------
    filter, width_px : what smooths the map; sd of a Gaussian, full width of the others
    noise_mm, correlation_px : added after the filter; correlation as a Gaussian's sd, 0 is white
    noise_grows : noise as the square of the distance over 300 mm, and over the cosine of the slant
    rows_mm : sd of a fixed error of each row and of each column
    gross_share, gross_mm : share of wild pixels and their sd
    hole_share : share of the map lost in blobs; ``hole_glints``: blobs on enamel; ``hole_edges``: share lost
        of the pixels at steps
    holes_first : holes are there before the filter, which fills none
    flying : pixels at steps hold a random mixture of what is before and behind
    enamel_bias_mm : how much deeper enamel reads
    repeats : readings of the held bite; blur, wild pixels' share and fixed rows and columns are theirs alike
    """

    filter: Filter = Filter.GAUSS
    width_px: Range = (2.0, 2.0)
    noise_mm: float = 0.4
    correlation_px: float = 1.5
    noise_grows: bool = False
    rows_mm: float = 0.0
    gross_share: Range = (0.0, 0.0)
    gross_mm: float = 6.0
    hole_share: float = 0.0
    hole_glints: int = 0
    hole_edges: float = 0.0
    holes_first: bool = False
    flying: bool = False
    enamel_bias_mm: float = 0.0
    repeats: int = 1
    storage: Storage = Storage.STEPS
    step: float = 0.05
    focal_px: float = 600.0
    size_px: tuple[int, int] = (640, 480)


@dataclass(frozen=True, slots=True)
class Shot:
    """How the frame is shot.

    ``registration_px`` shifts the map to the right of what the cameras say; ``focal_share`` makes the depth
    camera's stated focal length too long by this share; ``second_view_mm`` adds a calibrated view this far
    to the right.
    """

    distance_mm: Range = (280.0, 330.0)
    turn_deg: Range = (-4.0, 4.0)
    nod_deg: Range = (3.0, 9.0)
    tilt_deg: Range = (-2.0, 2.0)
    depth_camera_mm: tuple[float, float, float] = (12.0, 0.0, 0.0)
    registration_px: float = 0.0
    focal_share: float = 0.0
    second_view_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Clicks:
    """Standard deviations of clicks, px of the photograph."""

    corner_px: float = 0.7
    covered_px: float = 0.9


@dataclass(frozen=True, slots=True)
class Picture:
    """The photograph: a window of ``size_px`` about the mouth."""

    size_px: tuple[int, int] = (480, 420)
    focal_px: float = 1400.0
    blur_px: float = 0.8
    noise: float = 1.5


@dataclass(frozen=True, slots=True)
class DeviceTold:
    """What the device file tells the program; an empty ``filter`` and a smoothing of 0 are not told.

    ``smoothing_px`` is the sd of the Gaussian with the variance of the sensor's blur.
    """

    enamel_bias_mm: float = 0.0
    enamel_bias_sd_mm: float = 0.02
    filter: str = ""
    smoothing_px: float = 0.0
    smoothing_sd_px: float = 0.2


@dataclass(frozen=True, slots=True)
class World:
    """A named world; ``modelled`` says whether the program claims to allow for what is special in it."""

    name: str
    why: str
    modelled: bool
    head: Head = field(default=Head())
    mouth: Mouth = WIDE_GRIN
    teeth: Teeth = Teeth()
    skin: SkinError = SkinError()
    hair: Hair | None = None
    sensor: Sensor = Sensor()
    shot: Shot = Shot()
    clicks: Clicks = Clicks()
    picture: Picture = Picture()
    device: DeviceTold = DeviceTold()
    offset_mm: Range = (-3.0, 3.0)
