"""A bite worked out by hand, through camera and back, level and tilted."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bite.geometry.bite import (
    BiteBand,
    OverbiteLabel,
    OverjetLabel,
    bite_labels,
    covered_share,
    overjet_overbite,
)
from bite.geometry.camera import Camera
from bite.geometry.rigid import frozen

EXACT_MM = 1e-6
FORWARD, UP = np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])


@pytest.fixture
def case(reference):
    return reference("closed_form_bite")


@pytest.fixture
def camera(case):
    f, (cx, cy) = case.value("focal"), case.value("centre")
    return Camera(1920, 1080, frozen([[f, 0, cx], [0, f, cy], [0, 0, 1]]), frozen(np.zeros(5)))


@pytest.mark.parametrize("row", ["upper", "lower"])
def test_pixels(case, camera, row) -> None:
    pixels = camera.project(case.array(row))
    np.testing.assert_allclose(pixels, case.array(f"{row}_pixels"), rtol=0, atol=5e-6)  # half the last digit


@pytest.mark.parametrize("move_mm", [-2.0, -1.3, -0.4, 0.0, 0.4, 1.3, 2.0])
def test_round_trip_with_clicks_and_exact_depth(case, camera, move_mm) -> None:
    upper, lower = case.array("upper"), case.array("lower")
    seen = {}
    for name, points in (("upper", upper), ("lower", lower), ("moved", upper + move_mm * FORWARD)):
        seen[name] = camera.point_at(camera.project(points), points[:, 2])
    measured = overjet_overbite(seen["upper"], seen["lower"], forward=FORWARD, up=UP)
    np.testing.assert_allclose(
        measured, (case.value("overjet"), case.value("overbite")), rtol=0, atol=EXACT_MM
    )
    # moving one row forward is an overjet against itself, of the same sign
    offset, rise = overjet_overbite(seen["moved"], seen["upper"], forward=FORWARD, up=UP)
    assert offset == pytest.approx(move_mm, abs=EXACT_MM)
    assert rise == pytest.approx(0.0, abs=EXACT_MM)


@pytest.mark.parametrize(("axis", "sign"), [(a, s) for a in "xyz" for s in (1, -1)])
def test_tilted_head_needs_tilted_axes(case, camera, reference, axis, sign) -> None:
    turn = Rotation.from_euler(axis, 10.0 * sign, degrees=True).as_matrix()
    pivot = np.array([0.0, 0.0, 300.0])
    rows = [(case.array(row) - pivot) @ turn.T + pivot for row in ("upper", "lower")]
    rows = [camera.point_at(camera.project(row), row[:, 2]) for row in rows]
    corrected = overjet_overbite(*rows, forward=turn @ FORWARD, up=turn @ UP)
    np.testing.assert_allclose(corrected, (3.0, 3.0), rtol=0, atol=EXACT_MM)
    naive, _ = overjet_overbite(*rows, forward=FORWARD, up=UP)
    if axis == "x":
        wrong = reference("axis_tilt").array("naive_overjet_at_10")
        assert np.abs(wrong - naive).min() < 5e-7  # half the last digit
        assert abs(naive - 3.0) > 0.4
    elif axis == "y":
        assert naive == pytest.approx(3.0 * np.cos(np.deg2rad(10)), abs=EXACT_MM)
    else:
        assert naive == pytest.approx(3.0, abs=EXACT_MM)


def test_axis_tilt_table(case, reference) -> None:
    table = reference("axis_tilt")
    # a positive turn about x lets forward dip
    for sign, key in ((1, "overjet_read_one_way"), (-1, "overjet_read_other_way")):
        read = []
        for pitch in table.array("pitches"):
            turn = Rotation.from_euler("x", sign * pitch, degrees=True).as_matrix()
            forward, up = turn @ FORWARD, turn @ UP
            read.append(overjet_overbite(case.array("upper"), case.array("lower"), forward=forward, up=up)[0])
        np.testing.assert_allclose(read, table.array(key), rtol=0, atol=5.1e-4)  # half the last digit


def test_visible_lower_crown(reference) -> None:
    bite = reference("overjet_overbite")
    assert covered_share(2.9, 9.0) == pytest.approx(bite.value("covered_lower_crown_share"), abs=1e-9)
    assert 9.0 * (1 - covered_share(2.9, 9.0)) == pytest.approx(bite.value("visible_lower_crown"), abs=1e-9)


def test_labels_share_out_a_population_as_surveys_do(reference) -> None:
    """Whole-mm recording of Gaussian summaries, named by the program: 5 points of slack.

    The summaries were chosen to give the surveys' shares; what is on trial is where the labels end.
    """
    from scipy.stats import norm

    bite = reference("overjet_overbite")
    summary = {v["key"]: v["value"] for v in bite.content["values"] if v["key"].endswith("_gaussian")}
    quantiles = (np.arange(2000) + 0.5) / 2000
    overbite, overjet = (
        np.round(norm(*summary[f"{name}_gaussian"]).ppf(quantiles)) for name in ("overbite", "overjet")
    )
    band = BiteBand(usual_overjet_mm=(1.0, 3.0), usual_overbite_mm=(1.0, 3.0), deep_overbite_mm=5.5)
    # each measure beside a usual other one: edge-to-edge would take both names
    jets = [bite_labels(value, 2.0, band=band)[0] for value in overjet]
    bites = [bite_labels(2.0, value, band=band)[1] for value in overbite]
    for labels, label, key in (
        (jets, OverjetLabel.USUAL, "overjet_share_1_to_3"),
        (bites, OverbiteLabel.USUAL, "overbite_share_1_to_3"),
        (bites, OverbiteLabel.DEEP, "overbite_share_6_or_more"),
        (bites, OverbiteLabel.OPEN, "open_bite_share"),
    ):
        assert np.mean([found is label for found in labels]) == pytest.approx(bite.value(key), abs=0.05), key
