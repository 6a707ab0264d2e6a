"""The keys of a result file, their units and meanings: what other tools may rely on.

The check writes results without this module; `bite schema result` and the reference are made from it, and
tests hold results to it.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from bite.files.forms import FilterName, Form

Maybe = float | None
Pixel = list[float] | None
Pair = list[Maybe] | None


class EstimateForm(Form):
    """A number with its sd."""

    value: Maybe = Field(description="the number")
    sd: Maybe = Field(description="one standard deviation")


class InformationForm(Form):
    """What share of what is known of the offset came from where; the shares add up to 1."""

    depth: Maybe = Field(description="share of the depth map or profile; null without one")
    corners: Maybe = Field(description="share of the clicked corners and landmarks; null without them")
    lips: Maybe = Field(None, description="share of the lips' edges in the picture; missing without them")
    prior: Maybe = Field(description="share of what was believed beforehand")


class OffsetForm(Form):
    """The offset: null in the result where none can be given."""

    t_mm: Maybe = Field(
        description="how far the digital teeth must move; forward, out of the mouth, is positive"
    )
    sd_mm: Maybe = Field(description="one sd of it, sampling and systematic parts together")
    sampling_sd_mm: Maybe = Field(description="the part that more or better readings would shrink")
    systematic_sd_mm: Maybe = Field(
        description="the part that rests on assumptions which this frame cannot test"
    )
    interval_mm: list[Maybe] = Field(description="both ends of the 95 % interval")
    per_enamel_mm: Maybe = Field(
        description="mm by which the offset changes for each mm that the enamel is seen deeper than assumed"
    )
    lateral_right_mm: Maybe = Field(
        description="the teeth's need sideways, right in an unmirrored picture positive"
    )
    lateral_right_sd_mm: Maybe = Field(description="one sd of it")
    lateral_up_mm: Maybe = Field(description="the teeth's need in height, up positive")
    lateral_up_sd_mm: Maybe = Field(description="one sd of it")
    smoothing_px: Maybe = Field(description="the sensor's smoothing as the fit found it, in depth pixels")
    smoothing_sd_px: Maybe = Field(description="one sd of it")
    rows_difference_mm: Maybe = Field(
        description="offset that the lower teeth ask for minus that of the upper teeth"
    )
    rows_difference_sd_mm: Maybe = Field(description="one sd of it")
    converged: bool = Field(description="whether the fit settled")
    stop_reason: str = Field(description="why the fit ended")
    information: InformationForm = Field(description="where the knowledge came from")


class DecisionForm(Form):
    """What is to be done."""

    verdict: Literal["leave", "move", "usable", "beyond", "unsure", "reshoot"] = Field(
        description="the verdict in one word"
    )
    dial: Maybe = Field(
        description="the dial value that answers the offset; see dial_advised before typing it"
    )
    dial_before: Maybe = Field(description="the dial value that the model was solved with")
    dial_before_mm: Maybe = Field(
        description="where the rig says that value puts the teeth, forward positive"
    )
    dial_step: Maybe = Field(description="the dial's step")
    left_over_mm: Maybe = Field(description="what the dial cannot reach; 0 where it reaches all")
    why: str = Field(description="one sentence")
    dial_advised: bool = Field(description="whether the verdict stands behind the dial value")
    dial_interval: Pair = Field(description="dial values at both ends of the offset's 95 % interval")
    stands_for_mm: Maybe = Field(description="the move that the dial value stands for, after limit and step")
    saturated: bool | None = Field(description="whether the dial ended before the need did")


class FindingForm(Form):
    """One finding of a check."""

    code: str = Field(description="the check's name")
    severity: Literal["ok", "note", "warn", "fail"] = Field(description="how much it matters")
    measured: Maybe = Field(description="the number, in `unit`; null where nothing was measured")
    sd: Maybe = Field(description="one sd of it")
    limit: Maybe = Field(description="what it was held against")
    unit: str = Field(description="unit of measured, sd and limit; 1 for a share, empty for none")
    text: str = Field(description="what was found, in one sentence")
    todo: str = Field(description="what to do; empty for nothing")
    needs_reshoot: bool = Field(
        description="the fault is in the frame itself, and no fit or dial can mend it"
    )
    source: str = Field(description="where the limit comes from")


class MeasuresForm(Form):
    """Gap, overjet and overbite, measured and as solved."""

    gap_mm: EstimateForm | None = Field(
        description="opening between the incisal edges, from corners; negative overlaps"
    )
    gap_picture_mm: EstimateForm | None = Field(description="the same from the picture")
    overjet_mm: EstimateForm | None = Field(description="upper edge before the lower tooth, measured")
    overjet_solved_mm: Maybe = Field(description="the same in the solved model")
    overbite_mm: EstimateForm | None = Field(
        description="overlap in height, measured; negative is an opening"
    )
    overbite_solved_mm: Maybe = Field(description="the same in the solved model")


class FitForm(Form):
    """How the fit went."""

    converged: bool = Field(description="whether it settled")
    stop_reason: str = Field(description="why it ended")
    rounds: int = Field(description="times the model was rendered again")
    first_cost: Maybe = Field(description="robust cost before the first step")
    last_cost: Maybe = Field(description="robust cost at the end")
    degrees_of_freedom: int = Field(description="readings more than unknowns")
    reduced_chi_square: dict[str, Maybe] = Field(
        description="for each kind of evidence; 1 where its errors are as stated"
    )
    inlier_share: dict[str, Maybe] = Field(description="for each kind of evidence, the share within 3 sd")
    condition: Maybe = Field(description="condition number of the scaled normal matrix")
    at_bound: list[str] = Field(description="unknowns that ended at a bound")
    prior_share: Maybe = Field(description="share of what is known that came from priors")
    parameters: dict[str, EstimateForm] = Field(
        description="every unknown with its sd; its name carries the unit"
    )


class MarkForm(Form):
    """One clicked corner or landmark in one view, beside the solved model's."""

    view: str = Field(description="the view's name")
    name: str = Field(description="corner code or landmark name")
    state: str | None = Field(description="state of the click; null for a landmark")
    clicked_px: Pixel = Field(description="where it was clicked, x and y")
    before_px: Pixel = Field(description="where the solved model has it")
    after_px: Pixel = Field(description="where the model has it after the move")


class TriangulatedForm(Form):
    """One corner seen in two views or more, in space."""

    name: str = Field(description="corner code")
    views: list[str] = Field(description="the views that see it")
    point_mm: list[Maybe] = Field(description="its place in the reference camera")
    covariance_mm2: list[list[Maybe]] = Field(description="its 3 x 3 covariance")
    off_px: list[list[Maybe]] = Field(description="click minus projection, for each view")
    chi_square: Maybe = Field(description="of the clicks about that place")
    degrees_of_freedom: int = Field(description="of that chi-square")


class DeviceSettingsForm(Form):
    """The device table that was used; null where it does not say."""

    source: str = Field(description="where it was read")
    smoothing_px: Maybe = Field(description="see the device table")
    smoothing_sd_px: Maybe = Field(description="see the device table")
    enamel_bias_mm: Maybe = Field(description="see the device table")
    enamel_bias_sd_mm: Maybe = Field(description="see the device table")
    noise_mm: Maybe = Field(description="see the device table")
    correlation_px: Maybe = Field(description="see the device table")
    filter: FilterName | None = Field(description="see the device table")


class SettingsForm(Form):
    """What the result depends on besides its inputs and the version."""

    tolerance_mm: float = Field(description="how far off is good enough")
    performance_device: str | None = Field(
        description="the device that the performances use; null where not compared"
    )
    device: DeviceSettingsForm = Field(description="the device table used")


class ResultForm(Form):
    """A result file, `NAME.result.json`."""

    format: Literal["bite-result 1"] = Field(description="the format tag")
    frame: str = Field(description="the frame's name")
    performer: str = Field(description="who is seen")
    device: str = Field(description="the class of camera that shot the frame")
    offset: OffsetForm | None = Field(description="the offset; null where none can be given")
    why_no_offset: str = Field(description="why none can be given; empty where one is")
    decision: DecisionForm = Field(description="what is to be done")
    findings: list[FindingForm] = Field(description="every check's finding, worst first")
    measures: MeasuresForm = Field(description="gap, overjet and overbite")
    fit: FitForm | None = Field(description="how the fit went; null without an offset")
    marks: list[MarkForm] = Field(description="clicks beside the solved model, before and after the move")
    triangulated: list[TriangulatedForm] = Field(description="corners in space, where two views see them")
    annotators: list[str] = Field(description="who clicked")
    tolerance_mm: float = Field(description="how far off is good enough")
    settings: SettingsForm = Field(description="what else the result depends on")
    moved_mm: Maybe = Field(description="how far the after-pictures move the teeth, forward positive")
    px_per_mm: Maybe = Field(description="scale of the picture on the teeth")
    priors_used: list[str] = Field(description="what was assumed beforehand, a sentence each")
    inputs: dict[str, str] = Field(description="SHA-256 of every input, by its path")
    version: str = Field(description="version of the program")
