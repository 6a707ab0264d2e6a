"""Who stands before the camera in the demo, what was planted, how each rig is written. All invented."""

from __future__ import annotations

from dataclasses import dataclass, replace

from bite.files.rig import Dial
from bite.geometry.rigid import frozen
from demo_bite.scene.settings import (
    EMBRASURE,
    THIN_STRIP,
    WIDE_GRIN,
    Beard,
    Bite,
    Detail,
    Lamp,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SolveError,
    Texture,
)
from demo_bite.scene.write import Export, Model, Space


@dataclass(frozen=True, slots=True)
class Role:
    """One computed scene and the frames written from it.

    ``fair`` names, for each frame, the verdicts that a careful person would accept. ``person`` is the seed of
    the performer's anatomy; None where ``seed`` draws that too.
    """

    about: str
    seed: int
    settings: Settings
    exports: tuple[Export, ...]
    fair: tuple[tuple[str, ...], ...]
    person: int | None = None


# rigs are built by many hands: which way a dial goes, its units and its steps are each rig's own
BACK = Dial(True, 3.2, None, None, 1.0, 0.01)
FORWARD = Dial(False, 2.8, None, None, 1.0, 0.01)
WIDE = Dial(False, 4.0, None, None, 1.0, 0.05)
SHORT = Dial(False, 4.0, None, None, 0.8, 0.02)
COARSE = Dial(True, 2.5, None, None, 2.0, 0.1)
IN_MM = Dial(False, 1.0, None, None, 4.0, 0.1)
PER_CENT = Dial(False, 0.035, None, None, 100.0, 1.0)
FINE = Dial(True, 6.4, None, None, 0.5, 0.005)
STRONG = Dial(False, 5.0, None, None, 1.0, 0.01)
LONG = Dial(True, 1.6, None, None, 2.0, 0.02)
TRAVEL = Dial(True, None, None, frozen([[-10, 3.1], [-5, 1.6], [0, 0], [5, -1.6], [10, -3.3]]), 10.0, 0.5)

_PICTURE = PictureSettings(810, 1080, 1330.0, noise=0.8)
_SENSOR = Sensor(width_px=480, height_px=640, enamel_bias_mm=0.18, smoothing_px=1.8, gross_share=0.01)
_SOLVE = SolveError(waves_mm=0.25)
_BASE = Settings(
    sensor=_SENSOR,
    picture=_PICTURE,
    shot=Shot(distance_mm=318.0, region_mm=None, depth_camera_shift_mm=(17.0, 4.0, 0.0)),
    solve=_SOLVE,
    detail=Detail.COARSE,
    scene_detail=Detail.FINE,
)
_USUAL = Bite(overjet_mm=2.9, overbite_mm=2.4)
_CURLEW = replace(_BASE, t_mm=-1.2, mouth=EMBRASURE, bite=Bite(3.3, 2.8))
_CURLEWS = Export(
    "curlew-a11", "curlew", FORWARD, dial_now=0.25, neutral_mm=0.7, space=Space.Y_UP, unit_mm=1.0
)
_LAMPS = (Lamp((-24.0, -30.0, 4.0), 0.64), Lamp((84.0, -30.0, 4.0), 0.64))
_HEAD_WORN = replace(
    _BASE,
    t_mm=1.2,
    mouth=EMBRASURE,
    bite=_USUAL,
    depth=False,
    picture=PictureSettings(
        960,
        1280,
        1090.0,
        distortion=(-0.24, 0.07, 0.0004, -0.0003, -0.008),
        noise=0.8,
        texture=Texture(skin=0.10, enamel=0.03),
        lamps=_LAMPS,
        grey=True,
    ),
    # both cameras on one bar before the face, 60 mm apart, a little below the nose
    shot=Shot(distance_mm=172.0, views=2, baseline_mm=60.0, turn_deg=9.5, nod_deg=12.0, tilt_deg=1.0),
)
"""Two monochrome cameras that hang on a helmet, with lamps beside them."""

ROLES = (
    Role(
        "nothing to mend",
        101,
        replace(_BASE, t_mm=0.05, bite=_USUAL),
        (Export("tern-a07", "tern", BACK, picture_suffix=".png"),),
        (("leave",),),
    ),
    Role(
        "digital teeth stand too far back; the second frame is the same picture after the dial was moved",
        102,
        replace(_BASE, t_mm=1.4, bite=_USUAL),
        (
            Export("plover-b02", "plover", BACK),
            Export(
                "plover-b02-after",
                "plover",
                BACK,
                dial_now=-0.44,
                moved_mm=1.408,
                solved_file="solved-after.obj",
            ),
        ),
        (("move",), ("leave",)),
    ),
    Role(
        "digital teeth stand too far forward; the rig's dial was at 0.25 already",
        103,
        _CURLEW,
        (_CURLEWS,),
        (("move",),),
    ),
    Role(
        "the same teeth in another bite, the head turned by 12 degrees: to be taken together with the first",
        113,
        replace(_CURLEW, shot=replace(_BASE.shot, distance_mm=301.0, turn_deg=12.0, nod_deg=10.0)),
        (replace(_CURLEWS, name="curlew-a12", bite="a12."),),
        (("move",),),
        person=103,
    ),
    Role(
        "a third bite of those teeth, the head turned the other way: two leave the spread between bites open",
        114,
        replace(_CURLEW, shot=replace(_BASE.shot, distance_mm=325.0, turn_deg=-9.0, nod_deg=4.0)),
        (replace(_CURLEWS, name="curlew-a13", bite="a13."),),
        (("move",),),
        person=103,
    ),
    Role(
        "farther back than the dial can reach",
        104,
        replace(_BASE, t_mm=4.5, bite=Bite(3.0, 2.0)),
        (Export("dunlin-c01", "dunlin", SHORT),),
        (("beyond",),),
    ),
    Role(
        "a deep bite: the lower corners are covered",
        105,
        replace(_BASE, t_mm=0.9, bite=Bite(3.6, 5.2), mouth=EMBRASURE),
        (Export("avocet-a03", "avocet", TRAVEL, space=Space.OWN),),
        (("move",),),
    ),
    Role(
        "not biting: the teeth stand apart",
        106,
        replace(_BASE, t_mm=0.6, bite=Bite(2.2, -2.6)),
        (Export("knot-b05", "knot", WIDE),),
        (("reshoot",),),
    ),
    Role(
        "burnt out and moving",
        107,
        replace(
            _BASE,
            t_mm=0.8,
            bite=_USUAL,
            picture=replace(_PICTURE, exposure=3.0, motion_px=(7.0, 2.5), noise=1.5),
            sensor=replace(_SENSOR, highlight_hole_share=0.9, blob_hole_share=0.05),
        ),
        (Export("sanderling-a01", "sanderling", COARSE),),
        (("reshoot",),),
    ),
    Role(
        "a depth profile and solved corners, no mesh",
        108,
        replace(_BASE, t_mm=1.1, bite=_USUAL),
        (Export("turnstone-d04", "turnstone", IN_MM, model=Model.CORNERS),),
        (("move", "unsure"),),
    ),
    Role(
        "no solved model yet: is the frame fit for one?",
        109,
        replace(_BASE, bite=Bite(2.6, 1.8)),
        (Export("whimbrel-a02", "whimbrel", BACK, model=Model.NONE),),
        (("usable",),),
    ),
    Role(
        "two calibrated views and landmarks, no depth map",
        110,
        replace(
            _BASE,
            t_mm=1.6,
            bite=Bite(2.8, 2.2),
            depth=False,
            shot=replace(_BASE.shot, views=2, turn_deg=-3.0),
        ),
        (Export("godwit-e06", "godwit", FINE, landmarks=True),),
        (("move", "unsure"),),
    ),
    Role(
        "a head-worn pair of grey cameras, lamps on board, no depth map; its frame file is a filled-in draft",
        116,
        _HEAD_WORN,
        (
            Export(
                "stilt-h01",
                "stilt",
                STRONG,
                device="head-pair",
                device_file="head-pair.device.toml",
                landmarks=True,
                view_names=("left", "right"),
                drafted=True,
            ),
        ),
        (("move", "unsure"),),
    ),
    Role(
        "only a thin strip of enamel shows",
        111,
        replace(_BASE, t_mm=-0.9, mouth=THIN_STRIP, bite=Bite(3.1, 2.7)),
        (Export("phalarope-b09", "phalarope", PER_CENT, space=Space.Y_UP),),
        (("move", "unsure"),),
    ),
    Role(
        "a beard: hair up to 3 mm before the skin, 9 mm about the teeth bare",
        115,
        replace(_BASE, t_mm=1.1, mouth=WIDE_GRIN, bite=_USUAL, beard=Beard()),
        (Export("ruff-a04", "ruff", LONG),),
        (("move",),),
    ),
    Role(
        "the model was exported with closed lips",
        112,
        replace(_BASE, t_mm=1.0, mouth=WIDE_GRIN, bite=_USUAL),
        (Export("redshank-a05", "redshank", BACK, model=Model.CLOSED_LIPS),),
        (("refused",),),
    ),
)
