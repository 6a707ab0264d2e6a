"""Everything that can be set in a simulated bite frame. All numbers are invented unless sourced."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Mouth:
    """How far the lips are drawn apart in the bite frame.

    Lip edges are measured from the upper incisal edge at the midline, mm, ``upper_mm`` up and ``lower_mm``
    down; ``half_width_mm`` is the distance from the midline to the corner of the opening. ``lip_roll_mm``
    is the radius of the lip's edge and ``corner_lift_mm`` how much higher the corners stand than the
    middle.
    """

    upper_mm: float = 9.0
    lower_mm: float = 6.0
    half_width_mm: float = 30.0
    corner_lift_mm: float = 3.0


WIDE_GRIN = Mouth()
THIN_STRIP = Mouth(upper_mm=2.6, lower_mm=1.2, half_width_mm=25.0, corner_lift_mm=1.0)
EMBRASURE = Mouth(upper_mm=6.0, lower_mm=3.5, half_width_mm=28.0, corner_lift_mm=2.0)
"""Half way between the two."""


@dataclass(frozen=True, slots=True)
class Bite:
    """How the rows meet, mm and degrees. None is drawn from the published spreads (see ``anatomy``)."""

    overjet_mm: float | None = None
    overbite_mm: float | None = None
    occlusal_pitch_deg: float | None = None
    midline_shift_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Sensor:
    """A depth sensor. The order of work is the order of the fields below the camera.

    enamel_bias_mm is added to the sharp map by each pixel's share of enamel; smoothing_px is a Gaussian sd;
    noise_mm the sd of noise correlated over correlation_px (Gaussian sd of the filter); gross_share the share
    of pixels off by several mm; the hole shares are the shares of candidate pixels lost; unit_mm the storage
    step (0 keeps floats).
    """

    width_px: int = 640
    height_px: int = 480
    focal_px: float = 600.0
    distortion: tuple[float, ...] = (0.02, -0.03, 0.0, 0.0)
    enamel_bias_mm: float = 0.0
    smoothing_px: float = 2.0
    noise_mm: float = 0.4
    correlation_px: float = 1.5
    gross_share: float = 0.01
    gross_mm: float = 6.0
    highlight_hole_share: float = 0.5
    edge_hole_share: float = 0.6
    blob_hole_share: float = 0.01
    unit_mm: float = 0.1


@dataclass(frozen=True, slots=True)
class Texture:
    """How strong the fine texture of skin and enamel is, as a share of their brightness (about one sd)."""

    skin: float = 0.05
    enamel: float = 0.0


@dataclass(frozen=True, slots=True)
class Lamp:
    """A small lamp: where it stands in the reference camera's frame, how bright it is 200 mm away."""

    at_mm: tuple[float, float, float]
    strength: float = 1.0


@dataclass(frozen=True, slots=True)
class PictureSettings:
    """The camera of the views and its faults. ``None`` sizes are those of the depth sensor."""

    width_px: int | None = None
    height_px: int | None = None
    focal_px: float | None = None
    distortion: tuple[float, ...] = (0.04, -0.06, 0.0005, -0.0003, 0.0)
    exposure: float = 1.0
    noise: float = 1.5
    focus_blur_px: float = 0.6
    motion_px: tuple[float, float] = (0.0, 0.0)
    texture: Texture | None = None
    """fine texture on the surface, for pairs of views that are to be matched"""
    lamps: tuple[Lamp, ...] = ()
    """on-board lamps on a dark stage; none: a lit room"""
    grey: bool = False
    """a monochrome camera"""


@dataclass(frozen=True, slots=True)
class Shot:
    """Where the head stands. Angles: turn to the picture's right, chin up, clockwise tilt."""

    distance_mm: float | None = None
    """from the reference camera to the upper incisal edge along the axis; None draws 280 .. 330"""
    turn_deg: float | None = None
    """None draws N(0, 4)"""
    nod_deg: float | None = None
    """None draws N(6, 3): the camera a little below, looking up"""
    tilt_deg: float | None = None
    """None draws N(0, 2)"""
    views: int = 1
    baseline_mm: float = 60.0
    """second view to the right of the first, turned to look at the mouth"""
    depth_camera_shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """its centre in the reference frame; zero, and no picture settings, mean the reference camera itself"""
    region_mm: float | None = 75.0
    """half side of the square round the mouth that is computed; None: the whole picture"""


@dataclass(frozen=True, slots=True)
class SolveError:
    """How the solved model differs from the true head, apart from the planted offset."""

    waves_mm: float = 0.4
    """rms of the waves in the solved skin, along its normal"""
    wave_length_mm: float = 50.0
    shift_sd_mm: float = 0.2
    turn_sd_deg: float = 0.15
    lip_error_mm: float = 0.0
    """how far the solved lips stand in front of the true ones"""
    lip_slide_mm: float = 0.0
    """how much higher than the true one the solved upper lip stands, slid along the face"""


@dataclass(frozen=True, slots=True)
class Beard:
    """Hair before the skin, in picture and depth."""

    height_mm: float = 3.0
    """how far its tips stand before the skin; rays end anywhere between"""
    bare_mm: float = 9.0
    """none so near to enamel in sight"""


@dataclass(frozen=True, slots=True)
class Clicks:
    """Who clicked: standard deviations, px."""

    mesial_px: float = 0.5
    distal_px: float = 0.9
    landmark_px: float = 1.5


class Detail(StrEnum):
    """How fine the mesh is."""

    COARSE = "coarse"
    """about 16k faces: for committed meshes"""
    MEDIUM = "medium"
    """about 39k faces"""
    FULL = "full"
    """about 100k faces: for timing"""
    FINE = "fine"
    """about 140k faces: for pictures"""


@dataclass(frozen=True, slots=True)
class Settings:
    """One simulated bite frame. ``t_mm``: how far the digital teeth must move forward, out of the mouth +."""

    t_mm: float = 0.0
    right_mm: float = 0.0
    """how far the digital teeth must move to the picture's right"""
    up_mm: float = 0.0
    mouth: Mouth = WIDE_GRIN
    bite: Bite = field(default_factory=Bite)
    sensor: Sensor = field(default_factory=Sensor)
    picture: PictureSettings | None = None
    """None: no picture is computed and the views hold the depth sensor's camera"""
    shot: Shot = field(default_factory=Shot)
    solve: SolveError = field(default_factory=SolveError)
    clicks: Clicks = field(default_factory=Clicks)
    detail: Detail = Detail.MEDIUM
    scene_detail: Detail | None = None
    """what the cameras see; None: the same mesh as the model's"""
    beard: Beard | None = None
    depth: bool = True
    """False: no depth map is made"""
