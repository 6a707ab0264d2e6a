"""Is the solved model in the picture at all, with its teeth showing? If not, there is nothing to compare."""

from __future__ import annotations

import numpy as np

from bite.errors import InputError
from bite.evidence.model.head import SolvedHead
from bite.evidence.model.teeth_in_view import TeethInView, teeth_in_view
from bite.files.bundle import BiteFrame
from bite.fit.parameters import COUNT
from bite.geometry.rigid import Array

LEAST_SHOWN_MM2 = 10.0
"""Less than this of teeth in sight, of some 400 in a usual bite frame, is a closed mouth (our choice)."""


def solved_teeth_in_view(
    frame: BiteFrame,
    solved: SolvedHead,
    parameters: Array | None = None,
    *,
    within: TeethInView | None = None,
) -> TeethInView | None:
    """Render the solved teeth into the reference view; None when the model has no surface.

    Parameters
    ----------
    frame : BiteFrame
    solved : SolvedHead
    parameters : array, optional, where the fit put the model; else as it was given
    within : TeethInView, optional, an earlier rendering whose pixels are used again

    Raises
    ------
    InputError
        When the model's teeth lie behind the camera or outside its picture, or do not show: closed lips, or a
        model still in rest pose.
    """
    view, file = frame.views[0], frame.file
    model = file.solved.mesh if file.solved is not None and file.solved.mesh is not None else file.path
    middle = solved.head.centre_mm
    if not middle[2] > 1.0:
        raise InputError(
            model,
            "[solved] axes",
            f"the solved teeth lie {-middle[2]:.0f} mm behind the reference camera, needed in front",
            "correct axes, pose or corners_mm: x right, y down, z away from the camera",
        )
    x, y = view.camera.project(middle[None])[0]
    width, height = view.camera.width_px, view.camera.height_px
    if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
        raise InputError(
            model,
            "[solved] axes",
            f"the solved teeth fall on pixel ({x:.0f}, {y:.0f}), outside the picture of {width} x {height}",
            "check axes, pose and unit_mm, and that model and picture belong to one frame",
        )
    if not solved.has_surface:
        return None
    seen = teeth_in_view(
        view, solved.head, np.zeros(COUNT) if parameters is None else parameters, within=within
    )
    if parameters is None and (seen is None or seen.shown_mm2 < LEAST_SHOWN_MM2):
        shown = 0.0 if seen is None else seen.shown_mm2
        pose = "it is the rest export itself" if solved.same_as_rest else "its lips are closed over them"
        raise InputError(
            model,
            "teeth",
            f"the solved model shows {shown:.0f} mm2 of teeth to the camera, needed "
            f"{LEAST_SHOWN_MM2:.0f}: {pose}",
            "export the model in the expression of the bite frame, lips apart and teeth bare",
        )
    return seen
