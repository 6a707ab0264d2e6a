"""Several readings of one held bite as one depth map: what moved left out, the rest averaged pixel by pixel.

A bite that is held for a second gives many maps of one scene. Their mean is less noisy; what they share
(fixed pattern, enamel seen too deep, the sensor's smoothing) is in every one of them and does not average
out. The first map is the one of the picture's moment: the others are held against it, and those that moved
are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bite.errors import InputError
from bite.files.depth import DepthMap, Held
from bite.geometry.rigid import Array, frozen

MOVED_PX, MOVED_MM = 0.25, 0.3
"""A map that lies farther off the first one is left out: a quarter pixel adds 0.06 px to a blur of 2 px, and
0.3 mm is the tolerance's better half (our choice)."""
PATCH_PX = 8
"""Side of the patches in which a part of a face is seen to move; a lip is two or three of them high."""
PATCH_SD, MOST_PATCHES = 5.0, 0.005
"""A map has a part that moved where more than 0.5 % of its patches lie off by 5 sd; by chance none do."""
STEEPEST_MM = 4.0
"""Change of depth from pixel to pixel that is a step and not a slope, mm: blurred steps tell shifts badly."""
CLIP_SD = 3.5
"""Readings farther than this from their pixel's median are wild and left out."""
LEAST_SHARE = 0.5
"""Share of the maps that must have read a pixel; rims of holes flicker."""
ROUNDS = 3
"""Rounds of clipping wild pixels away (our choice)."""
LEAST_TO_FOLLOW = 4
"""Fewer readings do not tell whether they follow each other."""
MOST_FOLLOWING = 0.95
"""Readings that follow each other more closely than this are one reading, whatever their number."""
LEAST_ALIKE = 0.02
"""Neighbours more alike than by chance; a correlation of 0.25 px and less looks like none."""
MAD_TO_SD = 1.482602219
"""Sd of a Gaussian over the median of its absolute values (reference/robust_constants.toml)."""


@dataclass(frozen=True, slots=True)
class _Shift:
    """How one map lies to the first: px in the picture, mm in depth, and mm at the map's edge by a turn."""

    sideways_px: float
    forward_mm: float
    turned_mm: float
    left: Array
    """What the shift does not explain, mm, shape (height, width)."""


def held_map(maps: Sequence[DepthMap], frame: Path) -> DepthMap:
    """Average the maps of one held bite.

    Parameters
    ----------
    maps : sequence of DepthMap, of one size, the picture's own first
    frame : Path, of the frame file, for messages

    Returns
    -------
    DepthMap with ``held`` set: the mean of the readings of each pixel, wild ones left out

    Raises
    ------
    InputError
        When two maps hold the same readings, or fewer than two hold still.
    """
    _refuse_doubles(maps)
    first = maps[0].depth_mm
    shifts = [_shift(other.depth_mm, first) for other in maps[1:]]
    moved = {k + 1: why for k, why in enumerate(_moved(shifts)) if why}
    still = [k for k in range(len(maps)) if k not in moved]
    if len(still) < 2:
        what = f"none of the other {len(maps) - 1} maps holds still with the first, {maps[0].path.name}"
        mend = "put the map of the picture's own moment first, and name only maps of the held bite"
        raise InputError(frame, "[depth] maps", what, mend)
    stack = np.stack([maps[k].depth_mm for k in still])
    mean, left = _mean(stack)
    noise_mm, like_one = _noise_in_time(left)
    effective = max(1.0, len(still) / like_one)
    step_mm = maps[0].step_mm
    if noise_mm >= step_mm / 2:  # noise of half a step carries the mean across it: steps then average out
        step_mm /= float(np.sqrt(effective))
    held = Held(
        given=len(maps),
        used=len(still),
        left_out=tuple((maps[k].path.name, why) for k, why in moved.items()),
        noise_mm=noise_mm,
        correlation_px=_correlation_px(left),
        mean_noise_mm=noise_mm / float(np.sqrt(effective)),
    )
    return replace(maps[0], depth_mm=frozen(mean), step_mm=step_mm, held=held)


def _refuse_doubles(maps: Sequence[DepthMap]) -> None:
    seen: dict[bytes, Path] = {}
    for one in maps:
        content = one.depth_mm.tobytes()
        other = seen.setdefault(content, one.path)
        if other is not one.path:
            what = f"holds the readings of {other.name}, which would count twice"
            raise InputError(one.path, "", what, "name each reading once in [depth] maps")


def _shift(depth: Array, first: Array) -> _Shift:
    """Fit shift, depth and turn of a map to the first one by least squares, wild pixels clipped away."""
    down, right = np.gradient(first)
    rows, columns = np.indices(first.shape)
    height, width = first.shape
    x, y = 2 * columns / max(width - 1, 1) - 1, 2 * rows / max(height - 1, 1) - 1
    off = depth - first
    known = np.isfinite(off) & (np.hypot(right, down) < STEEPEST_MM)
    if known.sum() < 100:
        return _Shift(np.inf, 0.0, 0.0, off)
    basis = np.stack([np.ones_like(first), -right, -down, x, y], axis=-1)
    use = known
    found = np.zeros(5)
    for _ in range(ROUNDS):
        found = np.linalg.lstsq(basis[use], off[use], rcond=None)[0]
        left = off - basis @ found
        scale = MAD_TO_SD * float(np.median(np.abs(left[use])))
        use = known & (np.abs(left) <= max(CLIP_SD * scale, 1e-9))
    forward_mm, right_px, down_px, across_mm, along_mm = (float(value) for value in found)
    left = np.where(known, off - basis @ found, np.nan)
    return _Shift(float(np.hypot(right_px, down_px)), forward_mm, float(np.hypot(across_mm, along_mm)), left)


def _moved(shifts: Sequence[_Shift]) -> list[str]:
    """Say of each map why it is left out; empty where it stays."""
    # beside what most maps show: then the first one's own noise is not in every difference
    seen = [_patches(shift.left) for shift in shifts]
    usual = np.zeros_like(seen[0]) if len(seen) == 1 else _median(seen)
    patches = [means - usual for means in seen]
    scale = _patch_scale(patches)
    if len(shifts) > 1 and _has_moved_part(usual, scale):
        return ["a part of the first map lies elsewhere in all others"] * len(shifts)
    told = []
    for shift, means in zip(shifts, patches, strict=True):
        if shift.sideways_px > MOVED_PX:
            told.append(f"moved by {shift.sideways_px:.1f} px")
        elif max(abs(shift.forward_mm), shift.turned_mm) > MOVED_MM:
            told.append(f"moved by {max(abs(shift.forward_mm), shift.turned_mm):.1f} mm in depth")
        elif _has_moved_part(means, scale):
            told.append("a part of it moved")
        else:
            told.append("")
    return told


def _patch_scale(patches: Sequence[Array]) -> float:
    # one sd holds 68.3 % of Gaussian errors; beside a median of few maps the smallest are too many
    known = [float(np.nanquantile(np.abs(m), 0.6827)) for m in patches if np.isfinite(m).any()]
    return max(float(np.median(known)), 1e-9) if known else np.inf


def _has_moved_part(means: Array, scale: float) -> bool:
    known = np.isfinite(means)
    return bool(known.any()) and float(np.mean(np.abs(means[known]) > PATCH_SD * scale)) > MOST_PATCHES


def _patches(left: Array) -> Array:
    """Give the median of whole patches, which wild readings do not move; NaN where half of one is unknown."""
    height, width = (n - n % PATCH_PX for n in left.shape)
    cut = left[:height, :width].reshape(height // PATCH_PX, PATCH_PX, width // PATCH_PX, PATCH_PX)
    tiles = cut.transpose(0, 2, 1, 3).reshape(height // PATCH_PX, width // PATCH_PX, PATCH_PX**2)
    known = 2 * np.isfinite(tiles).sum(axis=-1) >= PATCH_PX**2
    return np.where(known, _median(np.moveaxis(tiles, -1, 0)), np.nan)


def _median(values: Sequence[Array] | Array) -> Array:
    """Give the median over the first axis, NaN where nothing is known."""
    stack = np.asarray(values)
    known = np.isfinite(stack).any(axis=0)
    found = np.full(stack.shape[1:], np.nan)
    found[known] = np.nanmedian(stack[:, known], axis=0)
    return found


def _mean(stack: Array) -> tuple[Array, Array]:
    """Give the mean of each pixel's readings without wild ones, and what each kept reading lies off it."""
    count = len(stack)
    known = np.isfinite(stack)
    enough = known.sum(axis=0) >= max(2, LEAST_SHARE * count)
    middle = np.full(stack.shape[1:], np.nan)
    middle[enough] = np.nanmedian(stack[:, enough], axis=0)
    off = np.abs(stack - middle)
    # a median of few readings lies nearer to them than the truth does
    scale = MAD_TO_SD * float(np.nanmedian(off)) * float(np.sqrt(count / (count - 1)))
    kept = known & (off <= max(CLIP_SD * scale, 1e-9))
    total = np.where(kept, stack, 0.0).sum(axis=0)
    # wild readings must not take the pixel with them: its median stands in where they are most
    mean = np.where(kept.any(axis=0), total / np.maximum(kept.sum(axis=0), 1), middle)
    return np.where(enough, mean, np.nan), np.where(kept & enough, stack - mean, np.nan)


def _noise_in_time(left: Array) -> tuple[float, float]:
    """Give the sd of one reading, and how many successive readings count as one.

    Readings that follow each other with share r count (1 + r) / (1 - r) to one: the effective number of a
    first-order autoregression. r comes from the differences of neighbours, which the mean does not touch; the
    variance about the mean is short by that number over the count.
    """
    count = len(left)
    per_pixel = np.isfinite(left).sum(axis=0)
    freedom = float(np.maximum(per_pixel - 1, 0).sum())
    variance = float(np.nansum(left**2)) / max(freedom, 1.0)
    steps = np.diff(left, axis=0)
    half = float(np.nanmean(steps**2)) / 2 if np.isfinite(steps).any() else variance
    if count < LEAST_TO_FOLLOW or variance <= 0:
        return float(np.sqrt(variance)), 1.0
    like_one, whole = 1.0, variance
    for _ in range(20):
        share = min(max(1.0 - half / whole, 0.0), MOST_FOLLOWING)
        like_one = (1 + share) / (1 - share)
        whole = variance * (count - 1) / max(count - like_one, 1.0)
    return float(np.sqrt(whole)), like_one


def _correlation_px(left: Array) -> float:
    """Give the correlation length, as the sd of the Gaussian that would make such noise of white noise.

    Noise smoothed with sd c agrees with its neighbour by exp(-1 / (4 c^2)).
    """
    alone = float(np.nanmean(left**2))
    across = float(np.nanmean(left[:, :, 1:] * left[:, :, :-1]))
    along = float(np.nanmean(left[:, 1:] * left[:, :-1]))
    share = (across + along) / 2 / max(alone, 1e-12)
    return 0.0 if share <= LEAST_ALIKE else float(np.sqrt(-1.0 / (4.0 * np.log(min(share, 0.99)))))
