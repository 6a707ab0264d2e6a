"""Clicks that span what another row's or other corners' names span are refused by their fault."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bite.errors import InputError
from bite.evidence.mouth.named_for_another import refuse_names_of_others
from bite.files.corners import CornerPoint, Corners, CornerState
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen

FOCAL_PX, AWAY_MM = 600.0, 300.0
MODEL_MM = {"11d": -8.4, "11m": -0.2, "21m": 0.2, "21d": 8.4, "41d": -5.4, "31d": 5.4}


def _frame(**at_mm: float) -> SimpleNamespace:
    """Give a frame whose corners were clicked so far to the right of its middle."""
    matrix = frozen([[FOCAL_PX, 0.0, 200.0], [0.0, FOCAL_PX, 150.0], [0.0, 0.0, 1.0]])
    camera = Camera(400, 300, matrix, frozen(np.zeros(5)), Rigid())
    points = {
        f"{code[1:]}": CornerPoint(CornerState.SEEN, 200.0 + mm * FOCAL_PX / AWAY_MM, 150.0)
        for code, mm in at_mm.items()
    }
    view = SimpleNamespace(camera=camera, corners=Corners(Path("a.json"), "a.png", 400, 300, points))
    return SimpleNamespace(views=(view,))


HEAD = SimpleNamespace(corners={code: np.array([mm, 0.0, AWAY_MM]) for code, mm in MODEL_MM.items()})


@pytest.mark.parametrize(
    ("at_mm", "word"),
    [
        ({"_41d": -8.3, "_31d": 8.5}, "rows swapped"),
        ({"_41d": -8.3, "_31d": 8.5, "_11d": -5.2, "_21d": 5.3}, "rows swapped"),
        ({"_11m": -8.3, "_21m": 8.3}, "mesial for distal"),
        ({"_11d": -0.3, "_21d": 0.4}, "distal for mesial"),
    ],
)
def test_a_name_of_another_corner_is_named(at_mm: dict[str, float], word: str) -> None:
    with pytest.raises(InputError, match=word):
        refuse_names_of_others(_frame(**at_mm), HEAD)  # type: ignore[arg-type]  # a stand-in


@pytest.mark.parametrize(
    "at_mm",
    [
        {"_11d": -8.3, "_21d": 8.5, "_41d": -5.4, "_31d": 5.5, "_11m": -0.2, "_21m": 0.3},
        # a tenth too wide, as a wrong lens makes them; a gap of 4 mm between the front teeth
        {"_11d": -9.2, "_21d": 9.3, "_41d": -5.9, "_31d": 6.0, "_11m": -2.0, "_21m": 2.0},
        # a lateral clicked for a central: the check of widths has words for it
        {"_41d": -11.0, "_31d": 5.5, "_11d": -8.3, "_21d": 8.5},
    ],
)
def test_names_that_fit_are_left_alone(at_mm: dict[str, float]) -> None:
    refuse_names_of_others(_frame(**at_mm), HEAD)  # type: ignore[arg-type]  # a stand-in
    refuse_names_of_others(_frame(**at_mm), None)  # type: ignore[arg-type]  # a stand-in
