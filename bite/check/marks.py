"""Where corners and landmarks were clicked and where the solved model has them, before and after the move."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bite.check.assessment import CornerMark
from bite.check.sections import before_and_after
from bite.evidence.model.head import SolvedHead
from bite.files.bundle import BiteFrame, LoadedView
from bite.fit.parameters import COUNT
from bite.geometry.rigid import Array
from bite.geometry.teeth import CORNERS, LANDMARKS

_Pixel = tuple[float, float]


def marks_of(
    frame: BiteFrame, solved: SolvedHead | None, parameters: Array | None, moved_mm: float
) -> tuple[CornerMark, ...]:
    """Give one mark for each corner and landmark that was clicked or that the solved model has, by view.

    Parameters
    ----------
    frame : BiteFrame
    solved : SolvedHead or None
    parameters : array or None
        Where the fit ended. Without, the model stands where it was given, and there is no "after".
    moved_mm : float
        The move that "after" stands for, mm forward.
    """
    marks: list[CornerMark] = []
    for view in frame.views:
        before, after = _model_pixels(view, solved, parameters, moved_mm)
        points = view.corners.points if view.corners is not None else {}
        landmarks = view.corners.landmarks if view.corners is not None else {}
        for code in CORNERS:
            point = points.get(code)
            if point is None and code not in before:
                continue
            clicked = (
                None
                if point is None or point.x_px is None or point.y_px is None
                else (point.x_px, point.y_px)
            )
            state = "hidden" if point is None else str(point.state)
            marks.append(CornerMark(view.name, code, state, clicked, before.get(code), after.get(code)))
        for name in LANDMARKS:
            if name in landmarks:
                at = (landmarks[name].x_px, landmarks[name].y_px)
                marks.append(CornerMark(view.name, name, "landmark", at, before.get(name), after.get(name)))
    return tuple(marks)


def _model_pixels(
    view: LoadedView, solved: SolvedHead | None, parameters: Array | None, moved_mm: float
) -> tuple[Mapping[str, _Pixel], Mapping[str, _Pixel]]:
    if solved is None or not (solved.head.corners or solved.head.landmarks):
        return {}, {}
    head = solved.head
    names = [*head.corners, *head.landmarks]
    points = np.array([*head.corners.values(), *head.landmarks.values()], dtype=np.float64)
    with_teeth = np.arange(len(names)) < len(head.corners)
    start, moved = before_and_after(np.zeros(COUNT) if parameters is None else parameters, moved_mm)
    before = _seen(view, names, head.place(points, with_teeth, start))
    after = {} if parameters is None else _seen(view, names, head.place(points, with_teeth, moved))
    return before, after


def _seen(view: LoadedView, names: list[str], points_mm: Array) -> dict[str, _Pixel]:
    pixels = view.camera.project(points_mm)
    return {
        name: (float(x), float(y))
        for name, (x, y) in zip(names, pixels, strict=True)
        if np.isfinite(x) and np.isfinite(y)
    }
