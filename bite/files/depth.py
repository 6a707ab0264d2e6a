"""Depth maps: 16-bit PNG, float TIFF, PFM, NPY, EXR; millimetres out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.depth_storage import read_stored
from bite.files.image import Sized
from bite.geometry.rigid import Array, frozen

NEAREST_MM, FARTHEST_MM = 20.0, 5000.0
"""A face nearer or farther than this is a wrong unit (our choice)."""


@dataclass(frozen=True, slots=True)
class Matching:
    """How the depth of a frame was matched from two of its views.

    Parameters
    ----------
    views : (str, str), names; the depth camera is the first one, turned
    why_not : str
        Why the pair gave no depth map; empty where it did.
    baseline_mm : float or None
    blur_px : float or None
        Sd of the patches that were matched, in pixels of the depth map: what the map is blurred by.
    sigma_mm : array, shape (height, width) of the depth map, or None
        Sd of each reading, NaN where there is none.
    disparity_sd_px : float or None, median sd of a disparity, in pixels of the matched pictures
    rows_off_px : float or None, how far the rows of the two rectified pictures lie apart
    enamel_share : float or None
        Share of the enamel, as the solved model shows it, that was matched.
    enamel_used : bool
        False where too little enamel was matched for its readings to be trusted: they are left out.
    """

    views: tuple[str, str]
    why_not: str = ""
    baseline_mm: float | None = None
    blur_px: float | None = None
    sigma_mm: Array | None = None
    disparity_sd_px: float | None = None
    rows_off_px: float | None = None
    enamel_share: float | None = None
    enamel_used: bool = True

    @property
    def mm_per_px(self) -> float | None:
        """Depth that one pixel of disparity stands for, mm, in the middle of the readings."""
        if self.sigma_mm is None or not self.disparity_sd_px or not np.isfinite(self.sigma_mm).any():
            return None
        return float(np.nanmedian(self.sigma_mm)) / self.disparity_sd_px


@dataclass(frozen=True, slots=True)
class Held:
    """How a depth map was averaged from several readings of one held bite.

    Parameters
    ----------
    given, used : int, maps named, and those that held still
    left_out : tuple of (file name, why)
    noise_mm : float, sd of one reading of one pixel, from the repeats
    correlation_px : float, over which that noise hangs together, as the sd of a Gaussian
    mean_noise_mm : float, sd of the mean's own noise: what readings that follow each other repeat counts once
    """

    given: int
    used: int
    left_out: tuple[tuple[str, str], ...]
    noise_mm: float
    correlation_px: float
    mean_noise_mm: float


@dataclass(frozen=True, slots=True)
class DepthMap:
    """Measured distance along the optical axis, one number a pixel.

    Parameters
    ----------
    path : Path
    depth_mm : array, shape (height, width), mm, NaN where there is no reading
    step_mm : float
        Storage step at the median depth, mm (0 for floating point files): no sd goes below step / sqrt(12).
    inverse : bool
        The file holds inverse distance, whose steps grow as the distance squared.
    held : Held or None, where it is the mean of several maps
    """

    path: Path
    depth_mm: Array
    step_mm: float
    inverse: bool = False
    held: Held | None = None

    def step_at_mm(self, distance_mm: float) -> float:
        """Give the storage step at a distance, mm."""
        if not self.inverse:
            return self.step_mm
        return self.step_mm * (distance_mm / float(np.nanmedian(self.depth_mm))) ** 2


def read_depth(
    path: Path,
    *,
    unit_mm: float | None = None,
    inverse_per_m: tuple[float, float] | None = None,
    sized: Sized | None = None,
) -> DepthMap:
    """Read a depth map.

    Stored 0, NaN, infinite and negative values mean "no reading". A map of inverse distance is the exception:
    its stored 0 is the first value of ``inverse_per_m``, a reading like any other unless that is 0.

    Parameters
    ----------
    path : Path
    unit_mm : float
        mm per stored unit.
    inverse_per_m : (float, float)
        In place of a unit: 1/m at stored 0 and at full scale, which is 255 or 65535, or 1.0 for floating
        point.
    sized : callable, optional
        Asked with width and height before anything is decoded; raises where they cannot be.

    Raises
    ------
    InputError
        For both or neither of the two, an unreadable file, no reading at all, or a median outside 20 to 5000
        mm.
    """
    path = Path(path)
    if (unit_mm is None) == (inverse_per_m is None):
        found = "neither" if unit_mm is None else "both"
        what = f"got {found} of unit_mm and inverse_per_m, needed one"
        raise InputError(path, "", what, "state mm per stored unit, or 1/m at stored 0 and at full scale")
    stored = read_stored(path, sized=sized)
    with np.errstate(all="ignore"):
        if inverse_per_m is None:
            scale = _positive(path, unit_mm)
            depth = _readings(stored.astype(np.float64) * scale)
            stated = f"unit_mm = {scale:g}"
        else:
            per_m = _inverse(path, stored, inverse_per_m)
            depth = _readings(1000.0 / per_m)
            stated = f"inverse_per_m = [{inverse_per_m[0]:g}, {inverse_per_m[1]:g}]"
    seen = np.isfinite(depth)
    if not seen.any():
        raise InputError(
            path, "", "no pixel has a reading", "export the depth map again, or leave out [depth]"
        )
    median = float(np.median(depth[seen]))
    if not NEAREST_MM <= median <= FARTHEST_MM:
        what = f"median distance {median:.4g} mm with {stated}, needed {NEAREST_MM:g} to {FARTHEST_MM:g}"
        raise InputError(path, "", what, _unit_hint(median, unit_mm))
    step_mm = _step_mm(stored, median, unit_mm, inverse_per_m)
    return DepthMap(path, frozen(depth), step_mm, inverse_per_m is not None)


def _positive(path: Path, unit_mm: float | None) -> float:
    if unit_mm is None or not (np.isfinite(unit_mm) and unit_mm > 0):
        what = f"got {unit_mm}, needed a positive number"
        raise InputError(path, "unit_mm", what, "state mm per stored unit")
    return float(unit_mm)


def _readings(depth: Array) -> Array:
    depth[~(np.isfinite(depth) & (depth > 0))] = np.nan
    return depth


def _full_scale(path: Path, stored: NDArray[Any]) -> float:
    if stored.dtype.kind == "f":
        return 1.0
    if stored.dtype in (np.uint8, np.uint16):
        return float(np.iinfo(stored.dtype).max)
    what = f"stored as {stored.dtype}, which has no agreed full scale"
    raise InputError(
        path, "inverse_per_m", what, "store inverse distance as 8 or 16 bit, or as floating point 0 to 1"
    )


def _inverse(path: Path, stored: NDArray[Any], inverse_per_m: tuple[float, float]) -> Array:
    at_zero, at_full = inverse_per_m
    if not (np.isfinite(inverse_per_m).all() and min(inverse_per_m) >= 0 and at_zero != at_full):
        what = f"got [{at_zero}, {at_full}], needed two different numbers, neither negative"
        raise InputError(path, "inverse_per_m", what, "state 1/m at stored 0 and at full scale")
    share = stored.astype(np.float64) / _full_scale(path, stored)
    share[~(np.isfinite(share) & (share >= 0))] = np.nan
    return np.asarray(at_zero + (at_full - at_zero) * share)


def _unit_hint(median: float, unit_mm: float | None) -> str:
    if unit_mm is None:
        return "state 1/m (not 1/mm) at stored 0 and at full scale; were the two swapped?"
    for factor, unit in (
        (1000.0, "metres"),
        (10.0, "centimetres"),
        (0.1, "tenths of a mm"),
        (0.001, "micrometres"),
    ):
        if 100.0 <= median / unit_mm * factor <= 2000.0:
            return f"were {unit} stored? then write unit_mm = {factor:g}"
    return "write mm per stored unit in unit_mm"


def _step_mm(
    stored: NDArray[Any], median: float, unit_mm: float | None, inverse_per_m: tuple[float, float] | None
) -> float:
    if stored.dtype == np.float16 and unit_mm is not None:
        return float(np.spacing(np.float16(median / unit_mm))) * unit_mm
    if stored.dtype.kind == "f":
        return 0.0
    if unit_mm is not None:
        return float(unit_mm)
    assert inverse_per_m is not None
    per_step = abs(inverse_per_m[1] - inverse_per_m[0]) / float(np.iinfo(stored.dtype).max)
    return median**2 / 1000.0 * per_step
