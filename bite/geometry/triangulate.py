"""A point in space from its pixels in two or more calibrated views, with its covariance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bite.errors import DegenerateGeometryError, NotConvergedError
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array

_MIN_ANGLE_RAD = 1e-5
"""Rays more parallel than this leave the distance open by more than the distance itself at any click (our
choice)."""
_MAX_STEPS = 50
"""Each step about doubles the digits that stand; what takes more never settles (our choice)."""


@dataclass(frozen=True, slots=True)
class Triangulated:
    """A point and how well its views agree on it.

    ``residuals_px`` are clicked minus projected, shape (n, 2). ``chi2`` is their weighted sum of squares with
    ``dof`` = 2n - 3 degrees of freedom: far above ``dof`` means that the views do not show the same point or
    the cameras have moved.
    """

    point_mm: Array
    covariance_mm2: Array
    residuals_px: Array
    chi2: float
    dof: int
    iterations: int


def midpoint(centres_mm: Array, directions: Array) -> tuple[Array, float]:
    """Give the point of least squared distance to all rays, mm, and the rms distance left, mm.

    For two rays this is the middle of their common perpendicular, and the rms distance is half its length. It
    weighs millimetres and not pixels, so it is a start value, not an estimate.

    Parameters
    ----------
    centres_mm : array, shape (n, 3), mm
    directions : array, shape (n, 3), any length

    Raises
    ------
    DegenerateGeometryError
        With fewer than two rays, or when all are parallel to within 1e-5 rad.

    Examples
    --------
    >>> point, gap = midpoint(np.array([[0., 0, 0], [60, 0, 0]]), np.array([[10., 5, 300], [-50, 5, 300]]))
    >>> np.allclose(point, [10, 5, 300], atol=1e-9), gap < 1e-9
    (True, True)
    """
    centres, rays = np.asarray(centres_mm, float), np.asarray(directions, float)
    if len(centres) < 2 or centres.shape != rays.shape:
        raise DegenerateGeometryError(
            f"triangulating needs two rays or more, got {len(centres)} centres and {len(rays)} rays"
        )
    rays = rays / np.linalg.norm(rays, axis=1, keepdims=True)
    widest = max(float(np.linalg.norm(np.cross(rays[0], ray))) for ray in rays[1:])
    if not widest > _MIN_ANGLE_RAD:
        raise DegenerateGeometryError(
            f"triangulating needs rays that cross: the widest angle is {widest:.1e} rad"
        )
    across = np.eye(3) - rays[:, :, None] * rays[:, None, :]
    # measured from the mean centre, so that a rig far from the origin loses no digits
    origin = centres.mean(0)
    local = centres - origin
    point = np.linalg.solve(across.sum(0), np.einsum("nij,nj->i", across, local))
    gaps = np.einsum("nij,nj->ni", across, point - local)
    return np.asarray(point + origin), float(np.sqrt(np.mean((gaps**2).sum(1))))


def triangulate(cameras: Sequence[Camera], pixels: Array, sigma_px: Array) -> Triangulated:
    """Find the point of the reference frame whose projections lie nearest to the clicked pixels.

    Gauss-Newton on the reprojection error through lens and all, from the rays' midpoint; the
    maximum-likelihood point for Gaussian click errors. Step halving keeps a start with a large gap from
    running away.

    Parameters
    ----------
    cameras : sequence of n Camera, two or more
    pixels : array, shape (n, 2), px
    sigma_px : array, shape (n,), px
        One sd of each view's click, per axis.

    Returns
    -------
    Triangulated
        ``covariance_mm2`` is the inverse information of the clicks alone: sampling only, cameras taken as
        exact.

    Raises
    ------
    DegenerateGeometryError
        When the rays are parallel or meet behind a camera, or sigma is not positive.
    NotConvergedError
        When 50 steps do not settle.

    Source: Hartley & Zisserman, Multiple View Geometry, 2nd ed., ch. 12 (chapter from memory).
    """
    clicked, sigma = np.asarray(pixels, float), np.asarray(sigma_px, float)
    if clicked.shape != (len(cameras), 2) or sigma.shape != (len(cameras),):
        raise DegenerateGeometryError(
            f"triangulating: needed one pixel and one sigma for each of {len(cameras)} views, "
            f"got {clicked.shape}, {sigma.shape}"
        )
    if not ((sigma > 0).all() and np.isfinite(sigma).all() and np.isfinite(clicked).all()):
        raise DegenerateGeometryError("triangulating: needed finite pixels, and sigmas above 0 px")
    rays = np.vstack(
        [c.camera_from_reference.inverse().turn(c.rays(clicked[i : i + 1])) for i, c in enumerate(cameras)]
    )
    point, _ = midpoint(np.vstack([c.centre_mm for c in cameras]), rays)
    residuals, by_point = _residuals(cameras, point, clicked)
    weight = np.repeat(1.0 / sigma, 2)
    iterations = 0
    while iterations < _MAX_STEPS:
        iterations += 1
        rows, error = by_point.reshape(-1, 3) * weight[:, None], residuals.ravel() * weight
        step, _, rank, _ = np.linalg.lstsq(rows, error, rcond=1e-12)
        if rank < 3:
            raise DegenerateGeometryError(
                "triangulating: the views do not fix the point in all three directions"
            )
        cost, size = float(error @ error), 1.0
        while size > 1e-6:
            trial = point + size * step
            new_residuals, new_by_point = _try_residuals(cameras, trial, clicked)
            if new_residuals is not None and float(((new_residuals.ravel() * weight) ** 2).sum()) <= cost * (
                1 + 1e-12
            ):
                break
            size *= 0.5
        else:
            trial, new_residuals, new_by_point = point, residuals, by_point
        point, residuals, by_point = trial, new_residuals, new_by_point
        # below float noise of the distance, and far below any click's worth
        if np.linalg.norm(size * step) <= 1e-12 * max(1.0, float(np.linalg.norm(point))) or size <= 1e-6:
            break
    else:
        raise NotConvergedError(
            f"triangulating: 50 steps did not settle, last step {np.linalg.norm(step):.1e} mm"
        )
    rows = by_point.reshape(-1, 3) * weight[:, None]
    chi2 = float(((residuals.ravel() * weight) ** 2).sum())
    return Triangulated(
        point, np.asarray(np.linalg.inv(rows.T @ rows)), residuals, chi2, 2 * len(cameras) - 3, iterations
    )


def known_width_depth_sd_mm(
    focal_px: float, width_mm: float, depth_mm: float, *, corner_sd_px: float, width_sd_mm: float
) -> float:
    """Give the sd of depth, mm, that ONE view yields from two corners a known width apart.

    It shows why corners of one view cannot fix an offset: where a width is known to 7 %, so is the distance.

    Examples
    --------
    >>> round(known_width_depth_sd_mm(1400.0, 17.0, 300.0, corner_sd_px=0.5, width_sd_mm=0.0), 2)
    2.67
    >>> round(known_width_depth_sd_mm(1400.0, 17.0, 300.0, corner_sd_px=0.0, width_sd_mm=0.07 * 17.0), 2)
    21.0
    """
    width_px = focal_px * width_mm / depth_mm
    return depth_mm * float(np.hypot(np.sqrt(2.0) * corner_sd_px / width_px, width_sd_mm / width_mm))


def _residuals(cameras: Sequence[Camera], point: Array, pixels: Array) -> tuple[Array, Array]:
    residuals, by_point = _try_residuals(cameras, point, pixels)
    if residuals is None:
        raise DegenerateGeometryError(
            "triangulating: the rays meet behind a camera; are two views or two points swapped?"
        )
    return residuals, by_point


def _try_residuals(cameras: Sequence[Camera], point: Array, pixels: Array) -> tuple[Array | None, Array]:
    """Give residuals (None behind a camera) and the derivative of the projections, shape (n, 2, 3)."""
    pairs = [camera.project_with_derivative(point[None]) for camera in cameras]
    projected = np.vstack([pixel for pixel, _ in pairs])
    by_point = np.vstack([derivative for _, derivative in pairs])
    return (pixels - projected if np.isfinite(projected).all() else None), by_point
