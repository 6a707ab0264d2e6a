"""The keys that each file may hold, their types and ranges; rules between keys are with the readers.

A field's description completes the sentence "write KEY: ..." in the error that asks for it.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Words = Annotated[str, Field(min_length=1, max_length=1000)]
Positive = Annotated[float, Field(gt=0, le=1e9)]
NotNegative = Annotated[float, Field(ge=0, le=1e9)]
Number = Annotated[float, Field(ge=-1e9, le=1e9)]
Triple = Annotated[list[Number], Field(min_length=3, max_length=3)]
Vertex = Annotated[int, Field(ge=0, le=2**31 - 1)]
FilterName = Literal["gauss", "box", "median", "edge-preserving"]
"""How a sensor smooths its own depth map, as `bite device` tells it."""

_ROW = {"type": "array", "minItems": 4, "maxItems": 4, "items": {"type": "number"}}
_POSE: dict[str, Any] = {"anyOf": [{"const": "landmarks"}, {**_ROW, "items": _ROW}, {"type": "null"}]}
_RANGE = {"type": "array", "minItems": 2, "maxItems": 2, "items": {"type": "integer", "minimum": 0}}
_PARTS: dict[str, Any] = {
    "additionalProperties": {
        "anyOf": [
            {"type": "array", "items": {"type": "string"}, "minItems": 1},
            {"type": "object", "properties": {"vertices": _RANGE}, "required": ["vertices"]},
        ]
    }
}
"""What readers hold `pose` and `[parts]` to, as a schema says it."""


class Form(BaseModel):
    """Base: unknown keys refused, no type is converted, numbers are finite.

    A form is built when it is first used: a check reads four kinds of file, and there are twice as many.
    """

    model_config = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False, frozen=True, defer_build=True
    )


class ViewForm(Form):
    """One [[view]] of a bite frame."""

    name: Words = Field(description='a name of its own for the view, such as "front"')
    image: Words = Field(description="the picture, a PNG, JPEG or TIFF file")
    camera: Words = Field(description="the camera file of this view (OpenCV YAML or JSON)")
    corners: Words | None = Field(None, description="the corner file of this view")


class DepthForm(Form):
    """[depth] of a bite frame."""

    map: Words | None = Field(None, description="the depth map file")
    maps: Annotated[list[Words], Field(min_length=1, max_length=1000)] | None = Field(
        None, description='depth maps of one held bite, the picture\'s own first, such as ["held/*.png"]'
    )
    unit_mm: Positive | None = Field(None, description="mm per stored unit, such as 0.1")
    inverse_per_m: Annotated[list[NotNegative], Field(min_length=2, max_length=2)] | None = Field(
        None, description="1/m at stored 0 and at full scale, such as [1.5, 4.4]"
    )
    view: Words | None = Field(None, description="the view that the map is registered to, pixel for pixel")
    camera: Words | None = Field(None, description="the camera file of the depth camera")
    profile: Words | None = Field(None, description="the depth profile, a CSV file")
    stereo: Annotated[list[Words], Field(min_length=2, max_length=2)] | None = Field(
        None, description='two view names, such as ["front", "side"]'
    )


class SolvedForm(Form):
    """[solved] of a bite frame."""

    mesh: Words | None = Field(None, description="the solved mesh, an OBJ, PLY, STL, GLB or USD file")
    unit_mm: Positive | None = Field(
        None, description="mm per unit of the mesh, such as 10.0 for centimetres"
    )
    axes: Literal["opencv", "y-up"] | None = Field(None, description='"opencv" or "y-up"')
    pose: Any = Field(
        None,
        description='a 4x4 matrix, reference camera from mesh, mm, or "landmarks"',
        json_schema_extra=_POSE,
    )
    prim: Words | None = Field(None, description='in a USD stage, the prim above the meshes, such as "/head"')
    time: Number | None = Field(None, description="in a USD stage that moves, the time code of the frame")
    rig: Words | None = Field(None, description="the rig file")
    dial: Number | None = Field(None, description="the dial value that this model was solved with")
    corners_mm: dict[str, Triple] | None = Field(
        None, description="solved corner positions, such as 11d = [x, y, z]"
    )
    forward: Triple | None = Field(None, description="the direction out of the mouth, [x, y, z]")


class FrameForm(Form):
    """A bite frame file."""

    format: str
    name: Words = Field(description="a name of its own for the frame")
    performer: Words = Field(description="who is seen")
    device: Words = Field(description="the class of camera that shot the frame")
    device_file: Words | None = Field(None, description="a file with the device's table")
    view: Annotated[list[ViewForm], Field(min_length=1, max_length=64)] = Field(
        description="at least one [[view]] table with name, image and camera"
    )
    depth: DepthForm | None = Field(None, description="a table")
    solved: SolvedForm | None = Field(None, description="a table")


class DialForm(Form):
    """[dial] of a rig."""

    positive: Literal["back", "forward"] = Field(
        description='which way a positive dial moves the teeth, "back" or "forward"'
    )
    mm_per_unit: Positive | None = Field(None, description="mm of travel per dial unit")
    mm_per_unit_sd: NotNegative | None = Field(None, description="its sd, mm")
    travel: (
        Annotated[
            list[Annotated[list[Number], Field(min_length=2, max_length=2)]],
            Field(min_length=2, max_length=1000),
        ]
        | None
    ) = Field(None, description="rows of [dial, mm forward]")
    limit: Positive = Field(1.0, description="the largest dial value")
    step: Positive = Field(0.01, description="the dial's step")


class RigForm(Form):
    """A rig file."""

    format: str
    rest: Words = Field(description="the rig's neutral export, an OBJ, PLY, GLB or USD file")
    prim: Words | None = Field(None, description='in a USD stage, the prim above the meshes, such as "/head"')
    time: Number | None = Field(None, description="in a USD stage that moves, the time code of the rest pose")
    unit_mm: Positive = Field(description="mm per unit of the export, such as 10.0 for centimetres")
    forward: Triple = Field(description="the direction out of the mouth along the occlusal plane, [x, y, z]")
    up: Triple = Field(description="the direction up, [x, y, z]")
    parts: dict[str, Any] = Field(
        description="a table with skin, upper and lower", json_schema_extra=_PARTS
    )
    corners: dict[str, Vertex] = Field(default_factory=dict, description="file vertex numbers from 0")
    landmarks: dict[str, Vertex] = Field(default_factory=dict, description="file vertex numbers from 0")
    teeth: Literal["scanned", "modelled"] | None = Field(
        None,
        description='"scanned" for the performer\'s own teeth, from a scan or a cast; "modelled" for others: '
        "as these they count where nothing is said",
    )
    dial: DialForm = Field(description="a table that says which way the dial goes")


class DeviceForm(Form):
    """One device table."""

    smoothing_px: NotNegative | None = Field(None, description="blur of the depth map, sd in depth pixels")
    smoothing_sd_px: Positive | None = Field(None, description="how well that is known, sd in depth pixels")
    enamel_bias_mm: Number | None = Field(None, description="how much deeper enamel reads, mm")
    enamel_bias_sd_mm: Positive | None = Field(None, description="how well that is known, sd in mm")
    noise_mm: Positive | None = Field(None, description="depth noise of one pixel, sd in mm")
    correlation_px: NotNegative | None = Field(
        None, description="correlation length of the noise, depth pixels"
    )
    filter: FilterName | None = Field(
        None, description='the kind of smoothing, "gauss", "box", "median" or "edge-preserving"'
    )


class DeviceTablesForm(Form):
    """A device file that holds [device.NAME] tables."""

    device: Annotated[dict[str, DeviceForm], Field(min_length=1)] = Field(
        description="[device.NAME] tables"
    )


class CastForm(Form):
    """A cast file."""

    format: str
    name: Words = Field(description="a name for the cast")
    performance_device: Words = Field(description="the device that the performances use")
    tolerance_mm: Positive = Field(0.5, description="the tolerance, mm")
    frames: Annotated[list[Words], Field(min_length=1, max_length=10_000)] = Field(
        description='patterns of frame files, such as ["*/*.bite.toml"]'
    )
    device: dict[str, DeviceForm] = Field(default_factory=dict, description="[device.NAME] tables")


class PictureForm(Form):
    """The picture that corners were clicked in."""

    file: Words = Field(description="the picture's file name")
    width: Annotated[int, Field(gt=0, le=1_000_000)] = Field(description="the picture's width, px")
    height: Annotated[int, Field(gt=0, le=1_000_000)] = Field(description="the picture's height, px")


class PointForm(Form):
    """One clicked corner."""

    state: Literal["seen", "unsure", "covered", "hidden"] = Field(
        description='"seen", "unsure", "covered" or "hidden"'
    )
    x: Number | None = Field(None, description="pixels to the right")
    y: Number | None = Field(None, description="pixels down")
    sigma_px: Positive | None = Field(None, description="the click's sd, px")


class LandmarkForm(Form):
    """One clicked landmark."""

    x: Number = Field(description="pixels to the right")
    y: Number = Field(description="pixels down")
    sigma_px: Positive | None = Field(None, description="the click's sd, px")


class CornersForm(Form):
    """A corner file."""

    format: str
    image: PictureForm = Field(description="the picture's file, width and height")
    points: dict[str, PointForm] = Field(default_factory=dict, description="corners by code")
    landmarks: dict[str, LandmarkForm] = Field(default_factory=dict, description="landmarks by name")
    annotator: str = Field("", max_length=1000, description="who clicked")
    saved: str = Field("", max_length=1000, description="when it was saved")


class StandForm(Form):
    """Where the teeth stood in one frame of a history."""

    frame: Words = Field(description="the frame's name")
    dial: Number = Field(description="the dial value that it was solved with")
    t_mm: Number = Field(description="the offset found there, mm, forward positive")
    sd_mm: NotNegative = Field(description="its sd, mm")


class StepForm(Form):
    """One move in a history."""

    before: StandForm = Field(description="a table with frame, dial, t_mm and sd_mm")
    after: StandForm = Field(description="a table with frame, dial, t_mm and sd_mm")
    achieved_mm: Number = Field(description="how far the teeth came, mm, forward positive")
    achieved_sd_mm: NotNegative = Field(description="its sd, mm")
    predicted_mm: Number | None = Field(None, description="how far the rig said they would come, mm")
    advice: Words = Field(description="what was advised then")
    note: str = Field("", max_length=1000, description="anything a person wants to remember")


class HistoryForm(Form):
    """A history file."""

    format: str
    performer: Words = Field(description="whose history it is")
    steps: Annotated[list[StepForm], Field(max_length=10_000)] = Field(description="a list of moves")
