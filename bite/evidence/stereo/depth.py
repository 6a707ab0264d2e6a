"""A depth map from two calibrated views, in the camera of the first one, turned: as good as a measured map.

The surroundings of the mouth are matched (``stereo_match``), and every few pixels one disparity becomes a
depth with an sd; nothing is resampled. Where hardly any enamel could be matched, as on smooth clean teeth,
what was matched of it is left out: the teeth then come from the corners clicked in two views, and the head
from the skin.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError, InputError
from bite.files.bundle import BiteFrame
from bite.files.depth import DepthMap, Matching
from bite.files.frame import StereoEntry
from bite.fit.head import Head
from bite.geometry.camera import Camera
from bite.geometry.rectify import Rectified, every, rectify_around
from bite.geometry.render import Grid, render
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER, UPPER

if TYPE_CHECKING:
    from bite.evidence.stereo.match import Matched

HALF_MM = 58.0
"""Half side of what is matched: the front teeth, and the skin around them that the fit looks at."""
REACH_MM = 45.0
"""Searched before and behind the incisors: nose and cheeks lie within."""
FINEST_PX_PER_MM = 7.0
"""Finer pictures are made smaller: a patch of 9 px is then 1.3 mm wide, and a check takes seconds."""
MOST_RANGE_PX = 256.0
"""Disparities searched at most (our choice)."""
DEPTH_PX_MM = 0.33
"""About one reading every third of a millimetre: finer ones would repeat each other within a patch."""
LEAST_READINGS = 200
"""Fewer matches hold neither head nor teeth (our choice)."""
LEAST_ENAMEL = 0.12
"""Less of the enamel than this is not trusted at all: what matches then are glints and rims (our choice)."""
ENAMEL_RIM_MM = 1.5
"""Patches that reach over the rim of a crown match its outline and not its face."""
WHERE = "[depth] stereo"


def with_stereo_depth(frame: BiteFrame, head: Head | None) -> BiteFrame:
    """Give a frame that names a pair of views its depth map; any other frame, or one that has it, as it is.

    Parameters
    ----------
    frame : BiteFrame
    head : Head or None, the solved model, which says where to look

    Raises
    ------
    InputError
        When the two cameras stand in one place or one behind the other, when the mouth lies outside one of
        the pictures, or when the pictures contradict their calibration.
    """
    if not isinstance(frame.file.depth, StereoEntry) or frame.stereo is not None:
        return frame
    # most frames bring a depth map or none: they need not wait for what matches pictures
    from bite.evidence.stereo.match import match
    from bite.evidence.stereo.pictures import rectified_pictures
    from bite.evidence.stereo.place import mouth_in_space
    from bite.evidence.stereo.rows import rows_off

    names = frame.file.depth.views
    first, second = ([view.name for view in frame.views].index(name) for name in names)
    centre = mouth_in_space(frame, head, first, second)
    if centre is None:
        why = "nothing says where the mouth is: click the corners, or give a solved model"
        return replace(frame, stereo=Matching(names, why))
    pair = _pair(frame, names, (first, second), centre)
    left, right = rectified_pictures(pair, frame.views[first], frame.views[second])
    rows = rows_off(left, right, pair.most_px)
    if not rows.calibrated:
        raise InputError(
            frame.file.path,
            WHERE,
            f"{rows.places} places of {names[0]} lie {rows.off_px:.1f} px off their rows in {names[1]}, "
            "needed 1 px: the cameras are not calibrated to each other",
            "calibrate the pair again: a camera was moved since, or the files belong to another set-up",
        )
    matched = match(left, right, pair.most_px)
    told = rows.off_px if rows.told else None
    return _mapped(frame, head, pair, matched, Matching(names, rows_off_px=told))


def _pair(frame: BiteFrame, names: tuple[str, str], numbers: tuple[int, int], centre: Array) -> Rectified:
    views = [frame.views[k] for k in numbers]
    try:
        pair = rectify_around(
            views[0].camera,
            views[1].camera,
            centre,
            half_mm=HALF_MM,
            reach_mm=REACH_MM,
            finest_px_per_mm=FINEST_PX_PER_MM,
            most_range_px=MOST_RANGE_PX,
        )
    except DegenerateGeometryError as error:
        raise InputError(
            frame.file.path,
            WHERE,
            f"{names[0]} and {names[1]}: {error}",
            "name two views side by side, or check rotation and translation_mm in their camera files",
        ) from None
    for view in views:
        camera = view.camera
        at = camera.project(centre[None])[0]
        if not ((at >= 0).all() and at[0] <= camera.width_px - 1 and at[1] <= camera.height_px - 1):
            place = f"at pixel ({at[0]:.0f}, {at[1]:.0f})" if np.isfinite(at).all() else "behind the camera"
            raise InputError(
                frame.file.path,
                WHERE,
                f"the mouth falls outside the picture of view {view.name}, {place}",
                "name two views that both show the mouth, or check their rotation and translation_mm",
            )
    return pair


def _mapped(
    frame: BiteFrame, head: Head | None, pair: Rectified, matched: Matched, told: Matching
) -> BiteFrame:
    from bite.evidence.stereo.refine import PATCH_SD_PX

    camera, depth, sigma, step = depth_of(pair, matched)
    told = replace(
        told,
        baseline_mm=pair.baseline_mm,
        blur_px=PATCH_SD_PX / step,
        disparity_sd_px=_median(matched.sigma_px),
    )
    if head is not None and len(head.faces):
        enamel, rim = _enamel(camera, head)
        share = float(np.isfinite(depth[enamel]).mean()) if enamel.any() else None
        told = replace(told, enamel_share=share)
        if share is not None and share < LEAST_ENAMEL:
            depth, sigma = np.where(rim, np.nan, depth), np.where(rim, np.nan, sigma)
            told = replace(told, enamel_used=False)
    count = int(np.isfinite(depth).sum())
    if count < LEAST_READINGS:
        why = f"only {count} places look alike in both views, needed {LEAST_READINGS}: too little texture"
        return replace(frame, stereo=replace(told, why_not=why, enamel_used=False))
    made = DepthMap(frame.file.path, frozen(depth), 0.0)
    told = replace(told, sigma_mm=frozen(sigma))
    return replace(frame, depth_map=made, depth_camera=camera, depth_view=None, stereo=told)


def depth_of(pair: Rectified, matched: Matched) -> tuple[Camera, Array, Array, int]:
    """Give every few disparities of a window, without its search margins, as depths of a camera.

    Returns
    -------
    camera : Camera
    depth_mm, sigma_mm : arrays, shape (h, w), NaN where nothing was matched
    step : int, matched pixels a pixel of the depth map
    """
    middle_mm = float(pair.depth_mm(np.array(0.5 * pair.most_px)))
    step = max(1, round(DEPTH_PX_MM * pair.focal_px / middle_mm))
    margin = round(pair.most_px)
    chosen = (slice(0, None, step), slice(margin, pair.first.width_px - margin, step))
    depth = pair.depth_mm(matched.disparity_px[chosen])
    sigma = pair.depth_sd_mm(depth, matched.sigma_px[chosen])
    rows, columns = depth.shape
    return every(pair.first, step, left=margin, top=0, columns=columns, rows=rows), depth, sigma, step


def _enamel(camera: Camera, head: Head) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Give where the solved model shows enamel to the depth camera, and the same with a rim around it."""
    import cv2

    seen = render(Grid.of(camera), camera.camera_from_reference.apply(head.points_mm), head.faces)
    part = np.where(seen.face >= 0, head.face_part[seen.face], -1)
    enamel = (part == UPPER) | (part == LOWER)
    if not enamel.any():
        return enamel, enamel
    mm_per_px = float(np.median(seen.depth_mm[enamel])) / camera.focal_px
    rim = 2 * round(ENAMEL_RIM_MM / mm_per_px) + 1
    return enamel, np.asarray(cv2.dilate(enamel.astype(np.uint8), np.ones((rim, rim), np.uint8)) > 0)


def _median(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else None
