"""Where in space to match a pair: around the mouth, from the solved model, else from the clicks."""

from __future__ import annotations

import numpy as np

from bite.errors import DegenerateGeometryError, NotConvergedError
from bite.evidence.clicks.tooth_row import mm_per_px_from_corners
from bite.evidence.mouth.spans import seen_points
from bite.files.bundle import BiteFrame
from bite.fit.head import Head
from bite.geometry.rigid import Array
from bite.geometry.triangulate import triangulate


def mouth_in_space(frame: BiteFrame, head: Head | None, first: int, second: int) -> Array | None:
    """Give about where the incisors are, shape (3,), mm, reference frame; None where nothing tells.

    The solved model says it best. Without one, corners clicked in both views are met in space; corners
    of one view stand as far away as crowns of usual width would, which is good to about 7 %.

    Parameters
    ----------
    frame : BiteFrame
    head : Head or None
    first, second : int, numbers of the two views
    """
    if head is not None:
        return head.centre_mm
    met = _met(frame, first, second)
    return met if met is not None else _from_width(frame)


def _met(frame: BiteFrame, first: int, second: int) -> Array | None:
    views = (first, second)
    seen = [seen_points(frame, k) for k in views]
    found = []
    for code in seen[0].keys() & seen[1].keys():
        try:
            point = triangulate(
                [frame.views[k].camera for k in views],
                np.array([points[code][0] for points in seen]),
                np.array([points[code][1] for points in seen]),
            )
        except (DegenerateGeometryError, NotConvergedError):
            continue
        found.append(point.point_mm)
    return np.asarray(np.median(found, axis=0)) if found else None


def _from_width(frame: BiteFrame) -> Array | None:
    view = frame.views[0]
    points = seen_points(frame, 0)
    if view.corners is None or not points:
        return None
    try:
        scale = mm_per_px_from_corners(view.corners)
    except DegenerateGeometryError:
        return None
    middle = np.mean([at for at, _ in points.values()], axis=0)
    away_mm = np.array([scale.mm_per_px * view.camera.focal_px])
    return np.asarray(view.camera.point_at(middle[None], away_mm)[0])
