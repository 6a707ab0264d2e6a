"""The pose of a solved model whose space is its own: from clicked landmarks that the rig names."""

from __future__ import annotations

import numpy as np

from bite.errors import InputError
from bite.files.bundle import BiteFrame
from bite.files.rig import Rig
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import Rigid, frozen

NEEDED = 4
"""A pose has six unknowns, and with three points four answers (common knowledge of the perspective-three-
point problem)."""


def pose_from_landmarks(frame: BiteFrame, mesh: Mesh, rig: Rig) -> Rigid:
    """Find reference_from_mesh from landmarks clicked in the reference view.

    Perspective-n-point on undistorted ray slopes, refined on reprojection. The head is rigid here: landmarks
    are taken where the
    solved expression has them. Visible incisor corners are not used, since whether they are in the right
    place is the question.

    Raises
    ------
    InputError
        With fewer than four shared landmarks, or none that give a pose in front of the camera.
    """
    import cv2

    view = frame.views[0]
    clicked = view.corners.landmarks if view.corners is not None else {}
    shared = [name for name in rig.landmarks if name in clicked]
    corners_file = view.corners.path if view.corners is not None else frame.file.path
    if len(shared) < NEEDED:
        raise InputError(
            corners_file,
            "landmarks",
            f"got {len(shared)} that the rig names ({', '.join(shared) or 'none'}), "
            f"needed {NEEDED} to find the pose",
            f"click more of: {', '.join(sorted(rig.landmarks)) or 'none named in the rig'}; "
            "or give [solved] pose",
        )
    points = np.array([mesh.vertices_mm[rig.landmarks[name]] for name in shared])
    pixels = np.array([[clicked[name].x_px, clicked[name].y_px] for name in shared])
    slopes = view.camera.slopes_from_pixels(pixels)
    best: tuple[float, Rigid] | None = None
    for method in (cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_EPNP):
        try:
            found, turn, shift = cv2.solvePnP(
                points, np.ascontiguousarray(slopes), np.eye(3), None, flags=method
            )
            if found:
                turn, shift = cv2.solvePnPRefineLM(
                    points, np.ascontiguousarray(slopes), np.eye(3), None, turn, shift
                )
        except cv2.error:
            continue
        pose = Rigid(frozen(cv2.Rodrigues(turn)[0]), frozen(shift[:, 0]))
        placed = pose.apply(points)
        if not found or not (placed[:, 2] > 0).all():
            continue
        error = float(np.hypot(*(view.camera.project_local(placed) - pixels).T).mean())
        if best is None or error < best[0]:
            best = (error, pose)
    if best is None:
        raise InputError(
            corners_file,
            "landmarks",
            f"no pose puts {', '.join(shared)} in front of the camera where they were clicked",
            "check the landmark clicks and the rig's landmark numbers; or give [solved] pose",
        )
    return best[1]
