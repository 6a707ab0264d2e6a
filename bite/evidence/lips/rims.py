"""Where the solved lips end before enamel, as the reference view would see it: one scan line a column.

A rim counts only where it must lie on enamel: so near the incisal edges that no crown is short enough to show
its gum there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER, LOWER_CORNERS, SKIN, UPPER, UPPER_CORNERS

SURELY_CROWN_MM = 6.0
"""Enamel reaches at least this far from the incisal edge: the shortest front crowns are 9 mm on average
(reference/crown_widths.toml); a third is left for wear, short crowns and the gum's points between teeth (our
choice)."""
ASIDE_MM = 14.0
"""Beyond the canines rows curve away and the corners of the mouth are dark (our choice)."""
HIGH_MM = 12.0
"""Half height of what is rendered: two rows as far as their crowns are sure, deep bites and tilted heads."""
PIXEL_MM, SPACING_MM = 0.1, 0.4
"""Height of a rendered pixel and the distance of scan lines. A rim runs along rows of pixels for millimetres,
so that coarse ones would shift whole stretches of it; along the rim it is smooth."""
SPARE_MM, DEEP_MM = 4.0, 25.0
"""So far beyond, what is seen at a slant or bent by the lens is rendered too; and nothing deeper than this
behind the front teeth, where molars lie (our choice)."""
_BEND = 4
"""A rim follows a polynomial of this degree, from which it takes its direction."""


@dataclass(frozen=True, slots=True)
class LipRim:
    """Scan lines across the rim of one solved lip, four tenths of a millimetre apart.

    Parameters
    ----------
    upper : bool, which lip
    origins_px, outward : array, shape (n, 2), pixels of the view: where the rim is, and the unit direction
        from enamel to lip
    room_mm : array, shape (n,), how far enamel reaches inward before the other lip or the dark
    along_mm : array, shape (n,), to the right from the middle of the teeth
    points_mm : array, shape (n, 3), of the solved skin there, in the reference frame
    face : array of int, shape (n,), the skin's face there
    """

    upper: bool
    origins_px: Array
    outward: Array
    room_mm: Array
    along_mm: Array
    points_mm: Array
    face: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Front:
    """The front teeth and the lips before them, rendered finely; rows run from lip to lip.

    Parameters
    ----------
    camera : Camera, with pixels four times as wide as they are high
    window : Window of it
    lying : bool, rows here are the picture's columns
    part, face, depth_mm : array, shape (h, w)
    slopes : array, shape (h, w, 2), of the rays
    """

    camera: Camera
    window: Window
    lying: bool
    part: NDArray[np.int8]
    face: NDArray[np.int64]
    depth_mm: Array
    slopes: Array

    def points(self, row: NDArray[np.int64], column: NDArray[np.int64]) -> Array:
        """Give the points that pixels see, shape (n, 3), in the reference frame."""
        rays = np.column_stack([self.slopes[row, column], np.ones(len(row))])
        local = rays * self.depth_mm[row, column][:, None]
        return self.camera.camera_from_reference.inverse().apply(local)

    def directions(self, rows: Array, columns: Array) -> Array:
        """Give directions along rows and columns as directions in the picture, shape (n, 2)."""
        return np.column_stack([rows, columns] if self.lying else [columns, rows])


def lip_rims(camera: Camera, head: Head) -> tuple[LipRim, ...]:
    """Find the rims of the solved lips before the front teeth: two, one or none that lie on enamel for sure.

    Parameters
    ----------
    camera : Camera of the view
    head : Head, the solved model, with a surface
    """
    centre, above = camera.project(np.stack([head.centre_mm, head.centre_mm + head.up]))
    away_mm = float(camera.camera_from_reference.apply(head.centre_mm[None])[0, 2])
    if not (away_mm > 1.0 and np.isfinite(centre).all() and np.isfinite(above).all()):
        return ()
    up_px = above - centre
    lying = bool(abs(up_px[0]) > abs(up_px[1]))
    size_mm = np.array([PIXEL_MM, SPACING_MM] if lying else [SPACING_MM, PIXEL_MM])
    scale = away_mm / (size_mm * camera.focal_px)
    matrix = np.diag([*scale, 1.0]) @ camera.matrix
    matrix[:2, 2] += 0.5 * scale - 0.5
    front = _rendered(replace(camera, matrix=frozen(matrix)), head, (centre + 0.5) * scale - 0.5, lying=lying)
    downward = -int(np.sign(up_px[0 if lying else 1]))
    upper = _rim(front, head, scale, downward, upper=True)
    lower = _rim(front, head, scale, -downward, upper=False)
    return tuple(rim for rim in (upper, lower) if rim is not None)


def _rendered(camera: Camera, head: Head, centre_px: Array, *, lying: bool) -> _Front:
    wide, high = round(ASIDE_MM / SPACING_MM), round(HIGH_MM / PIXEL_MM)
    half = np.array([high, wide] if lying else [wide, high])
    left, top = np.round(centre_px).astype(int) - half
    window = Window(int(left), int(top), 2 * int(half[0]) + 1, 2 * int(half[1]) + 1)
    grid = Grid.of(camera, window)
    arm = head.points_mm - head.centre_mm
    right, up, ahead = arm @ head.right, arm @ head.up, arm @ head.forward
    close = (np.abs(right) < ASIDE_MM + SPARE_MM) & (np.abs(up) < HIGH_MM + SPARE_MM) & (ahead > -DEEP_MM)
    near = np.flatnonzero(close[head.faces].any(1))
    seen = render(grid, camera.camera_from_reference.apply(head.points_mm), head.faces[near])
    hit = seen.face >= 0
    face = np.where(hit, near[seen.face], -1)
    part = np.where(hit, head.face_part[face], -1).astype(np.int8)
    depth_mm, slopes = seen.depth_mm, grid.slopes
    if lying:
        part, face, depth_mm, slopes = part.T, face.T, depth_mm.T, slopes.swapaxes(0, 1)
    return _Front(camera, window, lying, part, face, depth_mm, slopes)


def _rim(front: _Front, head: Head, scale: Array, inward: int, *, upper: bool) -> LipRim | None:
    """Find one rim; inward is the step along rows from lip to enamel."""
    part = front.part
    tooth = (part == UPPER) | (part == LOWER)
    row, column = np.nonzero(tooth & (np.roll(part, inward, axis=0) == SKIN))
    kept = (row > 0) & (row < len(part) - 1)
    row, column = row[kept], column[kept]
    on_tooth = front.points(row, column)
    aside_mm = (on_tooth - head.centre_mm) @ head.right
    sure = _on_crown(head, on_tooth, part[row, column]) & (np.abs(aside_mm) < ASIDE_MM)
    row, column = row[sure], column[sure]
    if len(np.unique(column)) <= 2 * _BEND:
        return None
    edge = np.asarray(row - 0.5 * inward, np.float64)
    slope = _slope(column.astype(np.float64), edge)
    outward = front.directions(np.full(len(row), -float(inward)), inward * slope) * scale
    corner = np.array([front.window.left, front.window.top])
    first = front.directions(edge, column.astype(np.float64)) + corner
    return LipRim(
        upper=upper,
        origins_px=(first + 0.5) / scale - 0.5,
        outward=outward / np.linalg.norm(outward, axis=1)[:, None],
        room_mm=_room(tooth, row, column, inward) * PIXEL_MM,
        along_mm=aside_mm[sure],
        points_mm=front.points(row - inward, column),
        face=front.face[row - inward, column],
    )


def _on_crown(head: Head, on_tooth_mm: Array, part: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Tell which points of teeth lie so near their row's incisal edges that they are enamel for sure."""
    sure = np.zeros(len(on_tooth_mm), dtype=bool)
    for label, codes, away in ((UPPER, UPPER_CORNERS, head.up), (LOWER, LOWER_CORNERS, -head.up)):
        edge = [head.corners[code] for code in codes if code in head.corners]
        if edge:
            beyond_mm = (on_tooth_mm - np.mean(edge, axis=0)) @ away
            sure |= (part == label) & (beyond_mm < SURELY_CROWN_MM)
    return sure


def _slope(x: Array, y: Array) -> Array:
    """Give the slope of a smooth curve through points."""
    middle, half = float(x.mean()), max(float(np.ptp(x)) / 2, 1.0)
    scaled = (x - middle) / half
    return np.asarray(np.polyval(np.polyder(np.polyfit(scaled, y, _BEND)), scaled) / half)


def _room(tooth: NDArray[np.bool_], row: NDArray[np.int64], column: NDArray[np.int64], step: int) -> Array:
    """Count the tooth pixels in a row from some of them on, in steps up or down."""
    last = len(tooth) - 1
    going, at, count = np.ones(len(row), dtype=bool), row, np.full(len(row), 0.5)
    while going.any():
        at = at + step
        going &= (at >= 0) & (at <= last) & tooth[np.clip(at, 0, last), column]
        count += going
    return count
