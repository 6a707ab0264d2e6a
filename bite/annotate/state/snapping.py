"""The edge fit on request: one step of its own, with what it did said in numbers, or a reason why not."""

from __future__ import annotations

from bite.annotate.state.desk import Desk
from bite.evidence.enamel.corner_snap import NoSnap, snap_corner
from bite.evidence.picture.luminance import Picture


def snap_ringed(desk: Desk, picture: Picture) -> bool:
    """Move the ringed corner to where its tooth's edge and side meet; tell whether it moved.

    Parameters
    ----------
    desk : Desk
    picture : array, shape (h, w, 3), uint8, RGB, of the view that is worked on
    """
    name = desk.ringed
    if name is None or desk.here.state_of(name) is None or name not in desk.here.places:
        desk.said = "no corner is ringed: click one first"
        return False
    found = snap_corner(picture, desk.here.points, name)
    if isinstance(found, NoSnap):
        desk.said = f"{name} stays: {found.why}"
        return False
    if not desk.move_ringed(found.place_px, f"{name} to where edge and side meet"):
        return False
    told = f"{name} moved {found.moved_px:.2f} px to where edge and side meet"
    desk.said = f"{told} (sd {found.sd_px:.2f} px); Z undoes"
    return True
