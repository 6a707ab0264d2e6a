"""Stereo: lines in one picture on which items clicked in another must lie."""

from __future__ import annotations

from bite.annotate.state.clicks import Clicks
from bite.annotate.state.order import is_corner
from bite.files.bundle import BiteFrame
from bite.files.corners import CornerState
from bite.geometry.rigid import Array


def sights_in(frame: BiteFrame, clicks: Clicks, index: int) -> dict[str, Array]:
    """Give, for each item clicked in another view and not in this one, its line here, shape (n, 2), px.

    A ``covered`` point has none: where a side goes under an edge is another place on the tooth in each view.

    Parameters
    ----------
    frame : BiteFrame
    clicks : Clicks, of all views
    index : int, the view that is looked at
    """
    if len(frame.views) < 2:
        return {}
    import numpy as np

    from bite.geometry.epipolar import epipolar_curve

    shown, found = frame.views[index], {}
    for other, own in enumerate(clicks):
        if other == index:
            continue
        for name, place in own.places.items():
            bound = is_corner(name) and own.state_of(name) is CornerState.COVERED
            if name in clicks[index].done or name in found or bound:
                continue
            curve = epipolar_curve(frame.views[other].camera, shown.camera, np.array(place))
            if len(curve) > 1:
                found[name] = curve
    return found
