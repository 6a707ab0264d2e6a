"""What a picture stores, as luminance and as CIE colour, and the part of it around a region."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

Picture = NDArray[np.uint8]
Mask = NDArray[np.bool_]

_LUMINANCE_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
_XYZ_FROM_RGB = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]],
)
_GRAY_TOLERANCE = 3
"""JPEG turns grey pictures coloured by a level or two (our choice)."""


def luminance(picture: Picture) -> Array:
    """Give the luminance of an RGB picture on the scale of its stored values, 0 to 255.

    The weights are applied to the stored (gamma-coded) values, since the question is what the file clipped.

    Parameters
    ----------
    picture : array, shape (h, w, 3) or (n, 3), uint8, RGB

    Returns
    -------
    array, shape (h, w) or (n,), 0 to 255

    Notes
    -----
    Source: weights of Recommendation ITU-R BT.709.

    Examples
    --------
    >>> luminance(np.array([[[255, 255, 255], [0, 255, 0]]], np.uint8)).round(1)
    array([[255. , 182.4]])
    """
    check_picture(picture)
    return np.asarray(picture.astype(float) @ _LUMINANCE_WEIGHTS)


def cie_lab(picture: Picture) -> Array:
    """Give CIE 1976 L*, a*, b* of sRGB values; a* grows from green to red.

    Parameters
    ----------
    picture : array, shape (h, w, 3) or (n, 3), uint8, RGB

    Returns
    -------
    array, shape (h, w, 3) or (n, 3); L* from 0 to 100

    Notes
    -----
    Source: IEC 61966-2-1 (sRGB, white D65) and CIE 15 (L*a*b*).

    Examples
    --------
    >>> (cie_lab(np.array([[255, 255, 255], [255, 0, 0]], np.uint8)).round(0) + 0.0).tolist()
    [[100.0, 0.0, 0.0], [53.0, 80.0, 67.0]]
    """
    check_picture(picture)
    stored = np.arange(256) / 255.0
    linear = np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)
    white = _XYZ_FROM_RGB.sum(1)
    ratio = linear[picture] @ (_XYZ_FROM_RGB / white[:, None]).T
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def is_gray(picture: Picture) -> bool:
    """Tell whether a picture carries no colour: its channels agree within 3 levels on 99 % of the pixels.

    Examples
    --------
    >>> is_gray(np.full((4, 4, 3), 90, np.uint8)), is_gray(np.full((4, 4, 3), (90, 60, 60), np.uint8))
    (True, False)
    """
    check_picture(picture)
    spread = picture.max(-1).astype(int) - picture.min(-1).astype(int)
    return bool(np.mean(spread <= _GRAY_TOLERANCE) >= 0.99)


def box_around(mask: Mask, margin_px: int = 0) -> tuple[slice, slice]:
    """Give rows and columns of the smallest box around a mask, widened by a margin and cut at the picture.

    Raises
    ------
    ValueError
        When the mask is empty.
    """
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    if rows.size == 0:
        raise ValueError("the mask is empty: nothing to measure in")
    height, width = mask.shape
    return (
        slice(max(0, int(rows[0]) - margin_px), min(height, int(rows[-1]) + 1 + margin_px)),
        slice(max(0, int(columns[0]) - margin_px), min(width, int(columns[-1]) + 1 + margin_px)),
    )


def check_picture(picture: Picture, mask: Mask | None = None) -> None:
    """Refuse an array that is not 8-bit RGB, or a mask of another size.

    Raises
    ------
    ValueError
        With the type and shape that came.
    """
    if picture.dtype != np.uint8 or picture.ndim not in (2, 3) or picture.shape[-1] != 3:
        raise ValueError(
            f"got {picture.dtype} {picture.shape}, needed an RGB picture, uint8, shape (h, w, 3)"
        )
    if mask is not None and (mask.dtype != np.bool_ or mask.shape != picture.shape[:2]):
        raise ValueError(f"got a mask {mask.dtype} {mask.shape}, needed bool {picture.shape[:2]}")
