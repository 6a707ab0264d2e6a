"""All mistakes: which file is wrong, how, and what the program's first two lines ought to name.

``says`` is a pattern for the headline and the reason below it. It names the wrong input, and the fault where
one frame can show it. Where two files contradict each other and nothing tells which one is wrong, naming both
is the true reason.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.worlds.mistakes import edits as e


@dataclass(frozen=True, slots=True)
class Mistake:
    """One cell of the matrix.

    Parameters
    ----------
    name : str
    kind : str, the column that it belongs to: which property does not agree
    says : str, a pattern (upper or lower case)
    edit : Edit
    base : str, the take that is copied before the edit
    """

    name: str
    kind: str
    says: str
    edit: e.Edit
    base: str = "plain"


_NOT_ONE = r"depth map.*(not|another).*(frame|belong|moment|registered)|not (of|belong to) one frame"
_HEAD_OR_DEPTH = r"solved head.*depth map|depth map.*solved head"
_REGISTERED = r"registered"
_CLICKS = r"click|corner"


def _mirrored(held: e.Array, takes: e.Takes) -> e.Array:
    return held * np.array([-1.0, 1.0, 1.0])


def _open_jaw(held: e.Array, takes: e.Takes) -> e.Array:
    moved = held.copy()
    moved[e.teeth_vertices(held, takes, "lower")] += (0.0, -5.0, 0.0)
    return moved


def _lower_forward(held: e.Array, takes: e.Takes) -> e.Array:
    moved = held.copy()
    moved[e.teeth_vertices(held, takes, "lower")] += (0.0, 0.0, 4.0)
    return moved


def _upside_down(values: np.ndarray) -> np.ndarray:
    return values[::-1, ::-1]


MISTAKES = (
    Mistake("none: all files right", "none", r"leave|move", lambda *_: None),
    Mistake("none, with a second view", "none", r"leave|move", lambda *_: None, "stereo"),
    # the depth map
    Mistake("depth map of another performer", "performer", _NOT_ONE, e.from_take("other", *e.DEPTH)),
    Mistake(
        "depth map and its camera of another performer",
        "performer",
        _NOT_ONE,
        e.from_take("other", *e.DEPTH, "depth.camera.yaml"),
    ),
    Mistake("depth map of another head turn", "moment", _NOT_ONE, e.from_take("turned", *e.DEPTH)),
    Mistake("depth map of a moment 8 mm elsewhere", "moment", _NOT_ONE, e.from_take("moved", *e.DEPTH)),
    Mistake(
        "depth map of another expression", "moment", _NOT_ONE + "|lips", e.from_take("half_open", *e.DEPTH)
    ),
    Mistake(
        "depth map of parted teeth", "moment", _NOT_ONE + "|rows|jaw", e.from_take("jaw_dropped", *e.DEPTH)
    ),
    Mistake(
        "depth map mirrored", "handedness", _NOT_ONE + "|mirrored", e.image("depth.png", lambda v: v[:, ::-1])
    ),
    Mistake("depth map upside down", "handedness", r"depth", e.image("depth.png", _upside_down)),
    Mistake(
        "depth unit ten times too large",
        "unit",
        r"unit_mm|median distance",
        e.frame_text("unit_mm = 0.05", "unit_mm = 0.5"),
    ),
    Mistake(
        "depth unit 3 % too large",
        "unit",
        r"depth.*(unit|map|camera)",
        e.frame_text("unit_mm = 0.05", "unit_mm = 0.0515"),
    ),
    Mistake(
        "depth map in half size",
        "size",
        r"depth map is 320 x 240.*640 x 480",
        e.image("depth.png", lambda v: v[::2, ::2]),
    ),
    Mistake(
        "depth map cut and shifted by 6 px",
        "size",
        _REGISTERED,
        e.image("depth.png", lambda v: np.roll(v, 6, 1)),
    ),
    Mistake(
        "depth map 8 mm too near",
        "unit",
        _HEAD_OR_DEPTH,
        e.image("depth.png", lambda v: np.where(v > 0, v - 160, 0).astype(np.uint16)),
    ),
    Mistake(
        "depth map 20 mm too far",
        "unit",
        _HEAD_OR_DEPTH,
        e.image("depth.png", lambda v: np.where(v > 0, v + 400, 0).astype(np.uint16)),
    ),
    # the cameras
    Mistake(
        "depth camera's focal length 5 % too long",
        "lens",
        r"(depth camera|camera file|focal|lens)",
        e.camera("depth", focal=1.05),
    ),
    Mistake(
        "depth camera's focal length 10 % too short",
        "lens",
        r"(depth camera|camera file|focal|lens)",
        e.camera("depth", focal=0.9),
    ),
    Mistake(
        "depth camera's principal point 6 px right",
        "lens",
        _REGISTERED,
        e.camera("depth", shift_px=(6.0, 0.0)),
    ),
    Mistake(
        "depth camera's principal point 6 px down",
        "lens",
        _REGISTERED,
        e.camera("depth", shift_px=(0.0, 6.0)),
    ),
    Mistake(
        "depth camera's place mirrored",
        "handedness",
        _REGISTERED,
        e.camera_motion("depth", translation_by=-1.0),
    ),
    Mistake("depth camera's place in cm", "unit", _REGISTERED, e.camera_motion("depth", translation_by=0.1)),
    Mistake(
        "photo camera's focal length 5 % too long",
        "lens",
        r"camera file|focal|lens|picture",
        e.camera("front", focal=1.05),
    ),
    Mistake(
        "photo camera's focal length 10 % too short",
        "lens",
        r"camera file|focal|lens|picture",
        e.camera("front", focal=0.9),
    ),
    Mistake(
        "photo camera's principal point 15 px right",
        "lens",
        _REGISTERED + r"|camera file|picture",
        e.camera("front", shift_px=(15.0, 0.0)),
    ),
    Mistake(
        "photo camera's principal point 15 px down",
        "lens",
        _REGISTERED + r"|camera file|picture",
        e.camera("front", shift_px=(0.0, 15.0)),
    ),
    Mistake("cameras swapped", "order", r"sizes differ|camera", e.cameras_swapped),
    # the picture and its clicks
    Mistake("picture of another performer", "performer", r"picture", e.from_take("other", *e.PICTURE)),
    Mistake(
        "picture of another performer, clicks kept",
        "performer",
        r"picture",
        e.from_take("other", "front.png"),
    ),
    Mistake(
        "clicks of another performer's picture",
        "performer",
        _CLICKS,
        e.from_take("other", "front.corners.json"),
    ),
    Mistake("picture of another head turn", "moment", r"picture", e.from_take("turned", *e.PICTURE)),
    Mistake("picture of a moment 8 mm elsewhere", "moment", r"picture", e.from_take("moved", *e.PICTURE)),
    Mistake("picture of another expression", "moment", r"picture|lips", e.from_take("half_open", *e.PICTURE)),
    Mistake("picture of parted teeth", "moment", r"opening|picture", e.from_take("jaw_dropped", *e.PICTURE)),
    Mistake(
        "picture mirrored, clicks kept",
        "handedness",
        r"picture|mirror",
        e.image("front.png", lambda v: v[:, ::-1]),
    ),
    Mistake(
        "picture mirrored and clicked so",
        "handedness",
        r"picture|mirror",
        e.both(e.image("front.png", lambda v: v[:, ::-1]), e.points(e.mirrored_clicks)),
    ),
    Mistake("picture in half size", "size", r"sizes differ", e.image("front.png", lambda v: v[::2, ::2])),
    Mistake(
        "clicks left and right swapped", "order", r"wrong way|mirror|left and right", e.renamed(**e.SIDES)
    ),
    Mistake(
        "clicks of the rows swapped",
        "order",
        r"rows|lower row",
        e.renamed(**{"11d": "41d", "21d": "31d", "41d": "11d", "31d": "21d"}),
    ),
    Mistake("clicks of 11 and 21 called mesial", "order", _CLICKS, e.renamed(**{"11d": "11m", "21d": "21m"})),
    # the solved model
    Mistake(
        "solved model and rig of another performer", "performer", r"solved", e.from_take("other", *e.MODEL)
    ),
    Mistake(
        "solved model, rig and pose of another performer",
        "performer",
        r"solved",
        e.both(e.from_take("other", *e.MODEL), e.pose_from("other")),
    ),
    Mistake(
        "solved mesh of another performer, rig kept",
        "performer",
        r"rest|solved|vertices",
        e.from_take("other", "solved.obj"),
    ),
    Mistake("solved pose of another head turn", "moment", r"solved", e.pose_from("turned")),
    Mistake("solved pose of a moment 8 mm elsewhere", "moment", r"solved", e.pose_from("moved")),
    Mistake(
        "solved model of another expression", "moment", r"solved|lips", e.from_take("half_open", "solved.obj")
    ),
    Mistake("solved jaw open by 5 mm", "moment", r"jaw|lower|rows", e.solved(_open_jaw)),
    Mistake("solved jaw forward by 4 mm", "moment", r"jaw|lower|rows", e.solved(_lower_forward)),
    Mistake("rest export as the solved model", "moment", r"rest export|closed", e.rest_as_solved),
    Mistake(
        "solved unit in cm",
        "unit",
        r"unit_mm|times the size",
        e.frame_text(r"(?<=solved.obj\"\n)unit_mm = 1.0", "unit_mm = 10.0"),
    ),
    Mistake(
        "solved and rig unit in inches",
        "unit",
        r"unit_mm",
        e.both(
            e.frame_text(r"(?<=solved.obj\"\n)unit_mm = 1.0", "unit_mm = 25.4"),
            e.rig_text("unit_mm = 1.0", "unit_mm = 25.4"),
        ),
    ),
    Mistake("solved pose the other way round", "handedness", r"pose", e.inverse_pose),
    Mistake(
        "solved and rest meshes mirrored", "handedness", r"mirror|wrong way|solved", e.both_meshes(_mirrored)
    ),
    Mistake("head solved 5 mm too near", "solve", _HEAD_OR_DEPTH, e.head_off(shift_mm=(0.0, 0.0, -5.0))),
    Mistake("head solved 8 mm too far", "solve", _HEAD_OR_DEPTH, e.head_off(shift_mm=(0.0, 0.0, 8.0))),
    Mistake("head solved 30 mm too far", "solve", _HEAD_OR_DEPTH, e.head_off(shift_mm=(0.0, 0.0, 30.0))),
    Mistake("head solved 6 mm to the side", "solve", r"solved", e.head_off(shift_mm=(6.0, 0.0, 0.0))),
    Mistake("head solved with a turn of 5 degrees", "solve", r"solved", e.head_off(turn_deg=5.0)),
    Mistake("head solved with a nod of 10 degrees", "solve", r"solved", e.head_off(turn_deg=10.0, axis=0)),
    Mistake("lips solved 2 mm too far forward", "solve", r"lips", e.lips_forward(2.0)),
    Mistake("lips solved 1.5 mm too far back", "solve", r"lips", e.lips_forward(-1.5)),
    # the rig
    Mistake(
        "rig's upper and lower swapped",
        "order",
        r"part|corner|upper|lower",
        e.both(
            e.rig_text(r'upper = \["upper"\]', 'upper = ["x"]'),
            e.rig_text(r'lower = \["lower"\]', 'lower = ["upper"]'),
            e.rig_text(r'\["x"\]', '["lower"]'),
        ),
    ),
    Mistake(
        "rig's corner numbers one too high",
        "order",
        r"corner|vertex|number",
        e.corner_numbers(lambda held: {c: at + 1 for c, at in held.items()}),
    ),
    Mistake(
        "rig's left and right corners swapped",
        "order",
        r"corner|left|right|wrong way",
        e.corner_numbers(lambda held: {c: held[e.SIDES[c]] for c in held if c in e.SIDES}),
    ),
    Mistake(
        "rig's forward into the mouth",
        "handedness",
        r"forward",
        e.rig_text(r"forward = \[0.0, 0.0, 1.0\]", "forward = [0.0, 0.0, -1.0]"),
    ),
    Mistake(
        "rig's up downwards",
        "handedness",
        r"\bup\b",
        e.rig_text(r"up = \[0.0, 1.0, 0.0\]", "up = [0.0, -1.0, 0.0]"),
    ),
    # two views
    Mistake(
        "second view of another performer",
        "performer",
        r"side|view",
        e.from_take("other_stereo", "side.png", "side.corners.json"),
        "stereo",
    ),
    Mistake(
        "second camera's rotation transposed",
        "handedness",
        r"side|view|camera",
        e.camera_motion("side", rotation_to="transposed"),
        "stereo",
    ),
    Mistake(
        "second camera's translation the other way",
        "handedness",
        r"side|view|camera",
        e.camera_motion("side", translation_by=-1.0),
        "stereo",
    ),
    Mistake(
        "second camera's translation in cm",
        "unit",
        r"side|view|camera",
        e.camera_motion("side", translation_by=0.1),
        "stereo",
    ),
)
