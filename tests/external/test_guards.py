"""What must never be claimed: an offset from one view, from five pixels a tooth, or without the enamel."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.cli import main
from bite.evidence.model.head import check_crown_span
from bite.fit.offset import fit_offset
from bite.fit.parameters import make_prior
from bite.geometry.teeth import UPPER_CENTRAL, UPPER_CORNERS
from tests.fit.test_solver import FRONT, TRUTH, clicks, profile

CAMERA = """%YAML:1.0
---
image_width: 512
image_height: 512
camera_matrix: !!opencv-matrix
   rows: 3
   cols: 3
   dt: d
   data: [ 900., 0., 255.5, 0., 900., 255.5, 0., 0., 1. ]
distortion_coefficients: !!opencv-matrix
   rows: 1
   cols: 5
   dt: d
   data: [ 0., 0., 0., 0., 0. ]
"""


@pytest.mark.slow
@pytest.mark.network
def test_a_portrait_with_five_pixels_a_tooth_is_refused_with_the_number(
    astronaut: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """NASA's portrait of Eileen Collins (public domain): a central incisor is about five pixels wide."""
    cv2.imwrite(str(tmp_path / "front.png"), cv2.imread(str(astronaut)))
    (tmp_path / "front.camera.yaml").write_text(CAMERA, encoding="utf-8")
    # read off an enlargement at the outer corners of the two upper central incisors, good to a pixel
    places = {"11d": (217.2, 148.3), "21d": (227.8, 148.6)}
    points = {code: {"x": x, "y": y, "state": "seen"} for code, (x, y) in places.items()}
    image = {"file": "front.png", "width": 512, "height": 512}
    clicked = {"format": "bite-corners 1", "image": image, "points": points}
    (tmp_path / "front.corners.json").write_text(json.dumps(clicked), encoding="utf-8")
    frame = tmp_path / "portrait.bite.toml"
    frame.write_text(
        'format = "bite-frame 1"\nname = "portrait"\nperformer = "sitter"\ndevice = "camera"\n[[view]]\n'
        'name = "front"\nimage = "front.png"\ncamera = "front.camera.yaml"\ncorners = "front.corners.json"\n',
        encoding="utf-8",
    )
    assert main(["check", str(frame), "--quiet"]) == 1
    result = json.loads((tmp_path / "portrait.result.json").read_text(encoding="utf-8"))
    assert result["decision"]["verdict"] == "reshoot" and result["offset"] is None
    finding = next(f for f in result["findings"] if f["code"] == "resolved")
    assert finding["severity"] == "fail"
    assert 4.0 < finding["measured"] < 6.5 and finding["limit"] == 12
    assert "5" in capsys.readouterr().out


def test_corners_of_one_view_never_give_an_offset() -> None:
    """Two crowns of known width leave 2.67 mm; the population's 6.9 % leaves 20.7 mm at 300 mm."""
    alone = clicks(TRUTH, None, 0.5, views=(FRONT,))
    exact = replace(alone, shape_sd_mm=1e-6)  # corners of the performer's very crowns
    known = fit_offset([exact], make_prior(log_size_sd=1e-6, head_shift_sd_mm=1e-6, head_turn_sd_deg=1e-6))
    usual = fit_offset([alone], make_prior(head_shift_sd_mm=1e-6, head_turn_sd_deg=1e-6, lateral_sd_mm=50.0))
    # six corners do a little better than the table's four; an exactly known model is the best case
    assert 1.0 < known.offset.sd < 3.5
    assert usual.offset.sd > 10.0


def test_enamel_bias_rule() -> None:
    """All teeth 0.3 mm deeper: the uncorrected offset falls by 0.3 mm; stating it restores it."""
    rng = np.random.default_rng(2)
    base = profile(TRUTH, rng)
    along_axis = abs(base.by_motion[0])
    deeper = replace(base, measured_mm=base.measured_mm + 0.3 * base.predict(TRUTH).teeth_share)
    corners = clicks(TRUTH, rng, views=(FRONT,))
    usual, stated = (make_prior(enamel_bias_mm=b, enamel_bias_sd_mm=0.1) for b in (0.1, 0.4))
    before = fit_offset([base, corners], usual)
    uncorrected = fit_offset([deeper, corners], usual)
    corrected = fit_offset([deeper, corners], stated)
    # each of the two fits stops once a step is below 0.01 mm
    assert uncorrected.offset.value - before.offset.value == pytest.approx(-0.3 / along_axis, abs=0.01)
    assert corrected.offset.value == pytest.approx(before.offset.value, abs=0.01)
    bias_sd = 0.1 / along_axis
    assert before.systematic_sd_mm >= 0.95 * bias_sd
    assert before.offset.sd >= np.hypot(before.sampling_sd_mm, 0.95 * bias_sd)


@pytest.mark.parametrize(
    ("factor", "named"), [(0.001, "1000"), (1000.0, "0.001"), (0.1, "10"), (1 / 25.4, "25.4")]
)
def test_crown_width_gate_names_the_unit(factor: float, named: str) -> None:
    width = 2 * UPPER_CENTRAL.mean_mm
    with pytest.raises(Exception, match=rf"multiply \[solved\] unit_mm by {named} "):
        check_crown_span("solved.obj", UPPER_CORNERS, width * factor, width, "[solved] unit_mm")
    check_crown_span("solved.obj", UPPER_CORNERS, 1.2 * width, width, "[solved] unit_mm")
