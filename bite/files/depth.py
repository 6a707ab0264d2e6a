"""Depth maps: 16-bit PNG, float TIFF, PFM, NPY, EXR; millimetres out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class DepthMap:
    """Measured distance along the optical axis, one number a pixel.

    Parameters
    ----------
    path : Path
    depth_mm : array, shape (height, width), mm, NaN where there is no reading
    step_mm : float
        Storage step at the median depth, mm (0 for floating point files): no sd goes below step / sqrt(12).
    """

    path: Path
    depth_mm: Array
    step_mm: float
