"""Where the mouth is before anybody has clicked: the solved model's corners through the frame's cameras."""

from __future__ import annotations

from collections.abc import Mapping

from bite.annotate.state.view import Point
from bite.errors import BiteError
from bite.files.bundle import BiteFrame


def solved_places(frame: BiteFrame) -> Mapping[str, Mapping[str, Point]]:
    """Give, by view, where the solved model as it stands has its corners, px; empty where nothing tells.

    Mesh, pose, rig and camera tell without a fit. A pose that is found from landmarks is not known yet, and
    a model that cannot be used tells nothing: the check says why.
    """
    import numpy as np

    from bite.evidence.model.head import solved_head

    try:
        solved = solved_head(frame)
    except BiteError:
        return {}
    if solved is None or not solved.head.corners:
        return {}
    names = list(solved.head.corners)
    points = np.array([solved.head.corners[name] for name in names])
    found: dict[str, dict[str, Point]] = {}
    for view in frame.views:
        height, width = view.image.shape[:2]
        places = view.camera.project(points)
        found[view.name] = {
            name: (float(x), float(y))
            for name, (x, y) in zip(names, places, strict=True)
            if np.isfinite((x, y)).all() and -0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5
        }
    return found
