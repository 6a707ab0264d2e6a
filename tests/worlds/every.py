"""All worlds by name."""

from __future__ import annotations

from tests.worlds.description import (
    HALF_OPEN,
    THIN_STRIP,
    DeviceTold,
    Filter,
    Hair,
    Sensor,
    Shot,
    SkinError,
    Storage,
    Teeth,
    Where,
    World,
)

_SOME_GROSS = Sensor(gross_share=(0.0, 0.05))
_WAVES_RMS_MM = 0.28
"""Root mean square of waves of 0.4 mm amplitude."""

_MODELLED = (
    World("wide grin", "the plain case: a Gaussian of 2 px, correlated noise, nothing else wrong", True),
    World(
        "thin strip",
        "7 depth pixels of enamel, a few wild pixels",
        True,
        mouth=THIN_STRIP,
        sensor=_SOME_GROSS,
    ),
    World("half open", "half of the crowns", True, mouth=HALF_OPEN, sensor=_SOME_GROSS),
    World("smoothing 3.5", "a sensor that smooths much", True, sensor=Sensor(width_px=(3.5, 3.5))),
    World(
        "no smoothing",
        "a sensor that does not smooth, with independent noise",
        True,
        sensor=Sensor(width_px=(0.0, 0.0), noise_mm=0.5, correlation_px=0.0),
    ),
    World(
        "skin waves 50",
        "the solved skin is off by waves of 0.4 mm amplitude, 50 mm long",
        True,
        skin=SkinError(waves_rms_mm=_WAVES_RMS_MM, waves_length_mm=50.0),
    ),
    World(
        "gross and holes",
        "5 % wild pixels, 10 % holes, glints on enamel, ragged edges",
        True,
        sensor=Sensor(gross_share=(0.05, 0.05), hole_share=0.1, hole_glints=6, hole_edges=0.3),
    ),
    World("far 420", "shot from 420 mm", True, shot=Shot(distance_mm=(415.0, 425.0))),
    World("second view", "a depth map and a second calibrated picture", True, shot=Shot(second_view_mm=60.0)),
    World("turned 12", "the head turned 12 degrees", True, shot=Shot(turn_deg=(11.0, 13.0))),
    World("box filter", "a box of 6 px instead of a Gaussian", True, sensor=Sensor(Filter.BOX, (6.0, 6.0))),
    World(
        "scanned crowns",
        "the solved crowns are a scan of the performer's, with a scan's errors",
        True,
        teeth=Teeth(scanned_mm=0.05),
    ),
    World(
        "noise grows",
        "noise as the square of the distance and one over the slant",
        True,
        sensor=Sensor(noise_grows=True),
    ),
    World(
        "holes first",
        "smoothed after its holes were there",
        True,
        sensor=Sensor(hole_share=0.1, hole_edges=0.3, holes_first=True),
    ),
    World("held 30", "thirty readings of one held bite", True, sensor=Sensor(repeats=30)),
    World(
        "held 30 rows and columns",
        "thirty readings that share a fixed error of each row and column",
        True,
        sensor=Sensor(repeats=30, rows_mm=0.15),
    ),
    World("rows and columns", "a fixed error of each row and column", True, sensor=Sensor(rows_mm=0.15)),
)

_UNMODELLED = (
    World("median", "a median of 5 px", False, sensor=Sensor(Filter.MEDIAN, (5.0, 5.0))),
    World(
        "thin strip median",
        "a median of 5 px eats strips",
        False,
        mouth=THIN_STRIP,
        sensor=Sensor(Filter.MEDIAN, (5.0, 5.0)),
    ),
    World(
        "median told",
        "a median of 5 px, and the device file says so",
        False,
        sensor=Sensor(Filter.MEDIAN, (5.0, 5.0)),
        device=DeviceTold(filter="median"),
    ),
    World("bilateral", "edges kept, the rest smoothed", False, sensor=Sensor(Filter.BILATERAL, (2.0, 2.0))),
    World(
        "block matching",
        "the strongest surface wins a block",
        False,
        sensor=Sensor(Filter.BLOCK_MATCHING, (7.0, 7.0)),
    ),
    World(
        "flying pixels",
        "mixtures at steps, not smoothed",
        False,
        sensor=Sensor(width_px=(1.0, 1.0), flying=True),
    ),
    World("moustache", "up to 3 mm, 4 mm about the teeth bare", False, hair=Hair(Where.MOUSTACHE, 3.0, 4.0)),
    World(
        "beard 9 mm bare", "up to 3 mm, 9 mm about the teeth bare", False, hair=Hair(Where.BEARD, 3.0, 9.0)
    ),
    World(
        "beard 4 mm bare", "up to 3 mm, 4 mm about the teeth bare", False, hair=Hair(Where.BEARD, 3.0, 4.0)
    ),
    World("stubble", "up to 1 mm, 9 mm about the teeth bare", False, hair=Hair(Where.BEARD, 1.0, 9.0)),
    World(
        "thin strip upper lip high",
        "the upper lip solved 0.5 mm too high",
        False,
        mouth=THIN_STRIP,
        sensor=_SOME_GROSS,
        skin=SkinError(upper_up_mm=0.5),
    ),
    World(
        "upper lip thick", "the upper lip solved 0.5 mm too thick", False, skin=SkinError(upper_out_mm=0.5)
    ),
    World("lower lip slid", "the lower lip solved 0.5 mm too high", False, skin=SkinError(lower_up_mm=0.5)),
    World(
        "lips parted",
        "the lips solved 0.8 mm too far apart or too near",
        False,
        skin=SkinError(parted_mm=0.8),
    ),
    World(
        "skin waves 15",
        "waves 15 mm long",
        False,
        skin=SkinError(waves_rms_mm=_WAVES_RMS_MM, waves_length_mm=15.0),
    ),
    World(
        "skin waves 25",
        "waves 25 mm long",
        False,
        skin=SkinError(waves_rms_mm=_WAVES_RMS_MM, waves_length_mm=25.0),
    ),
    World(
        "8-bit",
        "8-bit inverse distance, steps of 1 mm and more",
        False,
        sensor=Sensor(storage=Storage.INVERSE),
    ),
    World("1 mm steps", "stored in whole millimetres", False, sensor=Sensor(step=1.0)),
    World(
        "disparity steps",
        "distances of whole eighths of a pixel of disparity",
        False,
        sensor=Sensor(storage=Storage.DISPARITY, step=0.125),
    ),
    World(
        "registration",
        "the map half a pixel beside what the cameras say",
        False,
        shot=Shot(registration_px=0.5),
    ),
    World("lens", "the depth camera's focal length stated 1 % too long", False, shot=Shot(focal_share=0.01)),
    World("teeth large", "the solved teeth 4 % too large", False, teeth=Teeth(solved_scale=1.04)),
    World("teeth worn", "0.3 mm missing of the performer's edges", False, teeth=Teeth(worn_mm=0.3)),
    World("generic crowns", "the solved crowns are another mouth's", False, teeth=Teeth(generic=True)),
)

WORLDS = {world.name: world for world in _MODELLED + _UNMODELLED}
