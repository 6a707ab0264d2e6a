"""The content of a result file."""

import json
from dataclasses import replace

from bite.check.finding import Finding, Severity
from bite.check.result import result_mapping
from bite.files.result import read_result, result_text, write_result
from bite.stats.estimate import Estimate

OFFSET_KEYS = {
    "t_mm", "sd_mm", "sampling_sd_mm", "systematic_sd_mm", "interval_mm", "lateral_right_mm", "lateral_up_mm",
    "smoothing_px", "converged", "stop_reason", "information",
}  # fmt: skip
DECISION_KEYS = {"verdict", "dial", "dial_before", "left_over_mm", "why"}
FINDING_KEYS = {"code", "severity", "measured", "sd", "limit", "unit", "text", "todo"}


def test_keys_that_others_rely_on(fake) -> None:
    result = result_mapping(fake().make())
    assert result["format"] == "bite-result 1"
    assert (result["frame"], result["performer"], result["device"]) == ("tern-a07", "tern", "bench-depth")
    assert set(result["offset"]) >= OFFSET_KEYS
    assert set(result["offset"]["information"]) == {"depth", "corners", "prior"}
    assert set(result["decision"]) >= DECISION_KEYS
    assert all(set(finding) >= FINDING_KEYS for finding in result["findings"])
    assert result["inputs"]["front.png"].startswith("sha256:")
    assert result["version"] == "0.1.0"


def test_numbers_are_those_of_the_assessment(fake) -> None:
    found = fake().make()
    result = result_mapping(found)
    assert result["offset"]["t_mm"] == 1.42
    assert result["offset"]["interval_mm"] == list(found.fit.offset.interval)
    assert result["decision"]["dial"] == -0.44
    assert result["decision"]["dial_before"] == 0.0
    assert result["decision"]["left_over_mm"] == 0.0
    assert result["decision"]["dial_advised"] is True
    assert result["fit"]["parameters"]["forward_mm"]["value"] == 1.42
    assert result["marks"][0]["clicked_px"] == list(found.marks[0].clicked_px)


def test_what_was_not_measured_is_null_and_never_zero(fake) -> None:
    bare = result_mapping(fake(solved=False, offset=None, depth=False, clicked=False, px_per_mm=None).make())
    assert bare["offset"] is None
    assert bare["fit"] is None
    assert bare["decision"]["dial"] is None
    assert bare["decision"]["dial_before"] is None
    assert bare["decision"]["left_over_mm"] is None
    assert bare["px_per_mm"] is None
    assert set(bare["measures"].values()) == {None}
    shallow = result_mapping(fake(depth=False).make())["offset"]
    assert shallow["smoothing_px"] is None
    assert shallow["rows_difference_mm"] is None
    assert shallow["information"]["depth"] is None


def test_numbers_that_are_not_finite_become_null(fake) -> None:
    found = fake(findings=(Finding("sharp", Severity.NOTE, "no edge", measured=float("nan")),)).make()
    solution = replace(found.fit.solution, condition=float("inf"))
    result = result_mapping(replace(found, fit=replace(found.fit, solution=solution)))
    assert result["findings"][0]["measured"] is None
    assert result["fit"]["condition"] is None
    result_text(result)


def test_a_refused_dial_value_is_marked_as_not_advised(fake, gaped) -> None:
    decision = result_mapping(fake(findings=(gaped,)).make())["decision"]
    assert decision["verdict"] == "reshoot"
    assert decision["dial"] == -0.44
    assert decision["dial_advised"] is False


def test_saturation_leaves_a_rest(fake) -> None:
    decision = result_mapping(fake(offset=Estimate(4.1, 0.2)).make())["decision"]
    assert decision["dial"] == -1.0
    assert decision["saturated"] is True
    assert abs(decision["left_over_mm"] - 0.9) < 1e-9  # 4.1 mm less 3.2 mm of travel, in floating point


def test_same_inputs_same_bytes_and_a_round_trip(fake, tmp_path) -> None:
    made = fake().make()
    again = replace(made, frame=replace(made.frame, hashes=dict(reversed(list(made.frame.hashes.items())))))
    assert result_text(result_mapping(made)) == result_text(result_mapping(again))
    path = tmp_path / "tern-a07.result.json"
    write_result(path, result_mapping(made))
    assert read_result(path)["offset"]["t_mm"] == 1.42
    assert json.loads(path.read_text(encoding="utf-8"))["decision"]["verdict"] == "move"
