"""Depth profiles: one line of depths across lips and incisors, CSV."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class DepthProfile:
    """Depths along a line.

    Parameters
    ----------
    path : Path
    along_mm : array, shape (n,), strictly increasing (a decreasing file is turned round on reading)
    depth_mm : array, shape (n,), mm, NaN where there is no reading
    sigma_mm : array, shape (n,), or None where the file has no such column
    region : tuple of str, length n: "skin", "upper", "lower", "none"; or None
    solved_depth_mm : array, shape (n,), mm, NaN where the model has no surface; or None
    """

    path: Path
    along_mm: Array
    depth_mm: Array
    sigma_mm: Array | None
    region: tuple[str, ...] | None
    solved_depth_mm: Array | None
