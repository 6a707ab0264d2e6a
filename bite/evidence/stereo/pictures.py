"""Two pictures as the rectified pair of cameras would have taken them: grey, glints and outside left out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.files.bundle import LoadedView
from bite.geometry.camera import Camera
from bite.geometry.rectify import Rectified, source_pixels
from bite.geometry.rigid import Array

BURNT = 250
"""All three channels at their end: a glint is the lamp's mirror image, at another depth than the surface, and
moves with the view. One channel alone may be a strong colour."""
GLINT_RIM_PX = 2
"""A glint blooms over its own rim by a pixel or two."""


def rectified_pictures(pair: Rectified, first: LoadedView, second: LoadedView) -> tuple[Array, Array]:
    """Resample two views into a rectified window.

    Returns
    -------
    left, right : arrays, shape (h, w), grey levels, NaN outside the picture and in glints
    """
    return _resampled(pair.first, first), _resampled(pair.second, second)


def _resampled(rectified: Camera, view: LoadedView) -> Array:
    import cv2

    at = source_pixels(rectified, view.camera)
    known = np.isfinite(at).all(2)
    size = np.array([view.camera.width_px, view.camera.height_px])
    with np.errstate(invalid="ignore"):
        inside = np.asarray(known & (at >= 0).all(2) & (at <= size - 1).all(2))
    out = np.full(inside.shape, np.nan)
    if not inside.any():
        return out
    # only the part of the picture that is looked at
    low = np.maximum(np.floor(at[inside].min(0)).astype(int) - 8, 0)
    high = np.minimum(np.ceil(at[inside].max(0)).astype(int) + 9, size)
    piece = view.image[low[1] : high[1], low[0] : high[0]]
    grey, glint = _grey_and_glint(piece, rectified.focal_px / view.camera.focal_px)
    where = np.where(inside[..., None], at - low, -1.0).astype(np.float32)
    x, y = (np.ascontiguousarray(where[..., k]) for k in (0, 1))
    read = cv2.remap(grey, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    burnt = np.asarray(cv2.remap(glint, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) > 0.1)
    rim = 2 * GLINT_RIM_PX + 1
    burnt = cv2.dilate(burnt.astype(np.uint8), np.ones((rim, rim), np.uint8)) > 0
    return np.where(inside & ~burnt, read, np.nan).astype(np.float64)


def _grey_and_glint(
    piece: NDArray[np.uint8], factor: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    import cv2

    grey = np.asarray(cv2.cvtColor(np.ascontiguousarray(piece), cv2.COLOR_RGB2GRAY), np.float32)
    glint = (piece.min(2) >= BURNT).astype(np.float32)
    if factor < 1.0:
        # what is finer than the window's own pixels would come back as false detail
        sd_px = 0.5 * float(np.sqrt(factor**-2 - 1.0)) + 1e-3
        grey = np.asarray(cv2.GaussianBlur(grey, (0, 0), sd_px), np.float32)
    return grey, glint
