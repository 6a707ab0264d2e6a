"""The depth map or profile of a frame as the fit takes it: the part around the mouth, on its grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.evidence.crowns import crowns_of
from bite.files.bundle import BiteFrame
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head, part_of
from bite.fit.mouth_plane import mouth_plane
from bite.fit.noise import MapNoise, assumed_noise
from bite.fit.profile_block import ProfileBlock
from bite.fit.skin_moves import skin_moves
from bite.fit.smoothing import GAUSS, Kind, SensorFilter
from bite.fit.tooth_moves import tooth_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER

AROUND_MM = 38.0
"""Skin this far around the front teeth is rendered; beyond, it says nothing of how the head sits at the
mouth."""
SPARE_MM = 12.0
"""Faces this far outside the rendered window are kept, since the head and its teeth move during the fit."""
FARTHEST_MM = 10.0
"""A solved head is near its sensor, within about 1 mm: ten times that is another head, unit or pose (our
choice)."""
LEAST_READINGS = 30
"""Fewer readings on the whole window hold neither head nor teeth (our choice)."""
FRONT_MM = 25.0
"""Teeth this far from the middle of the incisors count as front teeth."""
NOISE_MM = 0.5
"""Starting noise of a depth pixel: between 0.46 and 1.4 mm for phones (Children 2022, 9(9):1390,
abstract)."""
CORRELATION_PX = 1.5
"""Where no device table says it; measured in each frame after the first look (our choice)."""
MEDIAN_PX = 5
"""Side of a median that a device's table names, to start from."""
RELATIVE_SD = (0.4, 4.0)
"""How much better or worse than most a matched reading may count (our choice)."""
SIGMA_PROFILE_MM = 0.3
"""Where the file states none; its scale is learned on skin (our choice)."""
PROFILE_READINGS = 400
"""Denser lines are averaged to about this many: the fit's matrices are as wide (our choice)."""


def depth_block(
    frame: BiteFrame, head: Head, *, limit_mm: float | None = FARTHEST_MM
) -> DepthBlock | None:
    """Cut the depth map around the mouth; None when the frame has no map or the model no surface.

    Raises
    ------
    InputError
        When the teeth lie behind the depth camera or outside its map, when the map has no reading near them,
        or when its
        distances are not those of the model: a camera that looks away, a wrong unit, a wrong pose.
    """
    if frame.depth_map is None or frame.depth_camera is None or not len(head.faces):
        return None
    camera, where = frame.depth_camera, frame.depth_map.path
    teeth = np.unique(head.faces[(head.face_part == UPPER) | (head.face_part == LOWER)])
    local = camera.camera_from_reference.apply(head.points_mm[teeth])
    front = np.linalg.norm(head.points_mm[teeth] - head.centre_mm, axis=1) < FRONT_MM
    local = local[front] if front.any() else local
    middle = local.mean(0)
    if not middle[2] > 1.0 or not (local[:, 2] > 1.0).any():
        raise InputError(
            where,
            "camera",
            f"the solved teeth lie {-middle[2]:.0f} mm behind it, needed in front",
            "check [solved] axes or pose, and the depth camera's rotation and translation_mm",
        )
    pixels = camera.project_local(local[local[:, 2] > 1.0])
    inside = ((pixels >= -0.5) & (pixels <= (camera.width_px - 0.5, camera.height_px - 0.5))).all(1)
    if inside.mean() < 0.5:
        x, y = np.nanmedian(pixels, axis=0)
        raise InputError(
            where,
            f"pixel ({x:.0f}, {y:.0f})",
            f"the solved teeth fall there, outside the map of {camera.width_px} x {camera.height_px}",
            "check [solved] axes, pose and unit_mm, and that depth and solved model belong to one frame",
        )
    px_per_mm = camera.focal_px / middle[2]
    margin = AROUND_MM * px_per_mm
    low = np.maximum(np.floor(pixels[inside].min(0) - margin), 0).astype(int)
    high = np.minimum(
        np.ceil(pixels[inside].max(0) + margin), (camera.width_px - 1, camera.height_px - 1)
    ).astype(int)
    window = Window(int(low[0]), int(low[1]), int(high[0] - low[0] + 1), int(high[1] - low[1] + 1))
    measured = np.asarray(window.cut(frame.depth_map.depth_mm), dtype=np.float64)
    readings = measured[np.isfinite(measured)]
    if readings.size < LEAST_READINGS:
        raise InputError(
            where,
            f"{window.width} x {window.height} pixels around the solved teeth",
            f"got {readings.size} readings, needed {LEAST_READINGS}",
            "check that depth and solved model belong to one frame and one camera",
        )
    nearest = float(np.quantile(readings, 0.2))
    if not 1 / 1.5 < nearest / middle[2] < 1.5:
        raise InputError(
            where,
            "unit_mm",
            f"depth around the mouth is {nearest:.4g} mm and the solved teeth stand at {middle[2]:.4g} mm",
            "correct the unit of the depth map, or of [solved] (crown widths agree with it), or the pose",
        )
    _check_distance(frame, camera, head, measured, window, limit_mm)
    relative, noise = _scatter(frame, window)
    near = part_of(head, _inside(head, camera, window, SPARE_MM * px_per_mm))
    grid = Grid.of(camera, window)
    return DepthBlock(
        near,
        skin_moves(near, AROUND_MM + FRONT_MM, mouth_plane(near, grid)),
        grid,
        measured,
        noise,
        frame.depth_map.step_at_mm(float(middle[2])),
        float(1.0 / px_per_mm),
        teeth=tooth_moves(near, crowns_of(frame.rig).face_sd_mm),
        relative_sd=relative,
        sensor=_filter_of(frame),
        told=frame.stereo is None and frame.device.filter is not None,
    )


def _filter_of(frame: BiteFrame) -> SensorFilter:
    """Give the filter that the device's table names; the window of a median is found in the map."""
    if frame.stereo is not None or frame.device.filter is None:
        return GAUSS
    kind = Kind(frame.device.filter)
    return SensorFilter(kind, MEDIAN_PX if kind is Kind.MEDIAN else 0)


def _scatter(frame: BiteFrame, window: Window) -> tuple[Array | None, MapNoise]:
    """Give how unequal the readings' sds are, and the noise to start from: the device's, or the pair's."""
    stereo = frame.stereo
    if stereo is None or stereo.sigma_mm is None or stereo.blur_px is None:
        device = frame.device
        return None, assumed_noise(device.noise_mm or NOISE_MM, device.correlation_px or CORRELATION_PX)
    sigma = np.asarray(window.cut(stereo.sigma_mm), dtype=np.float64)
    typical = float(np.nanmedian(sigma))
    relative = np.clip(np.where(np.isfinite(sigma), sigma / typical, 1.0), *RELATIVE_SD)
    # a patch's noise reaches as far as the patch: two share half of it at 1.7 of its sd
    return relative, assumed_noise(typical, 1.7 * stereo.blur_px)


def _check_distance(
    frame: BiteFrame, camera: Camera, head: Head, measured: Array, window: Window, limit_mm: float | None
) -> None:
    """Refuse a solved skin that is nowhere near the measured one: no fit of millimetres can mend that."""
    assert frame.depth_map is not None
    arm = head.points_mm - head.centre_mm
    near = (~head.with_teeth) & (arm @ head.forward > 0) & (np.linalg.norm(arm, axis=1) < AROUND_MM)
    if limit_mm is None or not near.any():
        return
    local = camera.camera_from_reference.apply(head.points_mm[near])
    column, row = np.rint(camera.project_local(local) - (window.left, window.top)).T
    seen = (column >= 0) & (row >= 0) & (column < window.width) & (row < window.height)
    if not seen.any():
        return
    off = measured[row[seen].astype(int), column[seen].astype(int)] - local[seen, 2]
    off = off[np.isfinite(off)]
    if off.size >= LEAST_READINGS and abs(np.median(off)) > limit_mm:
        raise InputError(
            frame.depth_map.path,
            "skin around the mouth",
            f"is measured {abs(np.median(off)):.0f} mm {'behind' if np.median(off) > 0 else 'before'} "
            f"the solved skin, needed within {limit_mm:g} mm",
            "correct the unit of the depth map or of [solved], the pose, or the depth camera's place",
        )


def _inside(head: Head, camera: Camera, window: Window, spare_px: float) -> NDArray[np.bool_]:
    """Tell which faces can come into a window while the head moves by less than the spare width."""
    pixels = camera.project(head.points_mm) - (window.left, window.top)
    size = np.array([window.width, window.height])
    with np.errstate(invalid="ignore"):
        # a face is out when all its vertices lie beyond the same side; one behind the camera is left to the
        # renderer
        low, high = pixels < -spare_px, pixels > size + spare_px
    out = np.zeros(len(head.faces), dtype=bool)
    for side in (low[:, 0], low[:, 1], high[:, 0], high[:, 1]):
        out |= side[head.faces[:, 0]] & side[head.faces[:, 1]] & side[head.faces[:, 2]]
    return ~out


def profile_block(frame: BiteFrame, head: Head) -> ProfileBlock | None:
    """Give the depth profile beside the solved one; None without regions or solved depths to compare with.

    More than 400 readings are averaged in neighbouring groups: they are finer than any sensor's own blur.
    """
    profile = frame.profile
    if profile is None or profile.region is None or profile.solved_depth_mm is None:
        return None
    group = int(np.ceil(len(profile.along_mm) / PROFILE_READINGS))
    region = np.array(profile.region)
    sigma = profile.sigma_mm if profile.sigma_mm is not None else np.full(len(region), SIGMA_PROFILE_MM)
    along, measured, solved = profile.along_mm, profile.depth_mm, profile.solved_depth_mm
    if group > 1:
        # groups never straddle a change of region
        change = np.concatenate([[0], np.cumsum(region[1:] != region[:-1])])
        key = change * len(region) + np.arange(len(region)) // group
        _, first, index = np.unique(key, return_index=True, return_inverse=True)
        along, measured, solved, sigma = (
            _grouped_mean(values, index) for values in (along, measured, solved, sigma)
        )
        region = region[first]
    teeth = (region == "upper") | (region == "lower")
    solved = np.where(region == "none", np.nan, solved)
    if not (np.isfinite(measured) & np.isfinite(solved) & teeth).any():
        return None
    motions = _profile_motions(head, along, solved, region)
    return ProfileBlock(along, measured, solved, teeth, region == "lower", np.asarray(sigma, float), motions)


def _profile_motions(head: Head, along_mm: Array, solved_mm: Array, region: NDArray[np.str_]) -> Array:
    """Give the depth change along the line per mm of teeth forward, right and up, shape (3, n).

    Moving along the axis changes depth by as much; moving along the line carries the teeth's own slope with
    it, above all the
    step from the upper edge to the lower teeth. Which way the line runs is read from the order of the rows;
    where it runs over one
    row only, that part is left out.
    """
    directions = np.stack([head.forward, head.right, head.up])
    motions = np.repeat(directions[:, 2, None], len(along_mm), axis=1)
    upper, lower = (np.flatnonzero((region == row) & np.isfinite(solved_mm)) for row in ("upper", "lower"))
    if upper.size and lower.size:
        down = 1.0 if along_mm[lower].mean() > along_mm[upper].mean() else -1.0
        enamel = np.sort(np.concatenate([upper, lower]))
        if enamel.size >= 3:
            slope = np.gradient(solved_mm[enamel], along_mm[enamel])
            motions[:, enamel] -= np.outer(down * directions[:, 1], slope)
    return motions


def _grouped_mean(values: np.ndarray, index: np.ndarray) -> np.ndarray:
    good = np.isfinite(values)
    count = np.bincount(index, good)
    total = np.bincount(index, np.where(good, values, 0.0))
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / count, np.nan)
