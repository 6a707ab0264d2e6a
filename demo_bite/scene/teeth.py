"""Crowns and rows of teeth, in the occlusal frame.

Occlusal frame, mm: x to the viewer's right, y up at right angles to the occlusal plane, z forward along it.
The origin is midway between the two mesial corners of the upper central incisors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array
from demo_bite.scene.anatomy import Anatomy, Crown, thickness_mm

_ROOT_MM = 2.0
_ARCH = {
    True: 0.030,
    False: 0.0325,
}  # parabola, 1/mm: intercanine 34 and 26 mm wide at 9 and 5.5 mm depth (from memory)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of teeth: triangles, and the numbers of the corner vertices by code.

    ``sides`` gives for each corner the vertices of that side of its crown, from the edge to the gum.
    ``gum_line`` is a polyline along the row where the crowns enter the gum, shape (n, 3).
    """

    vertices: Array
    faces: NDArray[np.int32]
    corners: dict[str, int]
    sides: dict[str, NDArray[np.int64]]
    gum_line: Array


@dataclass(frozen=True, slots=True)
class _Grid:
    points: Array
    faces: NDArray[np.int32]
    mesial: int
    distal: int
    mesial_side: NDArray[np.int64]
    distal_side: NDArray[np.int64]
    gum: Array


def half_width(crown: Crown, from_edge: Array) -> Array:
    """Give half the mesiodistal width at a distance from the edge; the widest place is the contact point."""
    at = np.array([0.0, 0.36, 0.65, 1.0, 1.4]) * crown.height_mm
    return np.interp(from_edge, at, np.array([0.965, 1.0, 0.93, 0.80, 0.70]) * crown.width_mm / 2)


def labial_z(crown: Crown, u: Array, from_edge: Array, *, upper: bool) -> Array:
    """Give how far the labial face stands in front of the middle of the edge."""
    lean = np.tan(np.deg2rad(7.0 if upper else 4.0))
    share = np.clip(from_edge / crown.height_mm, 0, 1)
    return -lean * from_edge + 0.55 * np.sin(np.pi * share) - (0.75 if upper else 0.55) * u**2


def _columns(crown: Crown, count: int) -> tuple[Array, int, int]:
    """Give the columns across a crown, distal (-1) to mesial (+1), with the two corners among them."""
    half = 0.965 * crown.width_mm / 2
    distal = -1 + (1 - np.sqrt(0.5)) * crown.distal_radius_mm / half
    mesial = 1 - (1 - np.sqrt(0.5)) * crown.mesial_radius_mm / half
    u = np.concatenate(
        [[-1, (-1 + distal) / 2], np.linspace(distal, mesial, count - 4), [(1 + mesial) / 2, 1]]
    )
    return u, 2, count - 3


def _edge_drop(crown: Crown, u: Array) -> Array:
    """Give how far the edge withdraws: two rounded angles, and a cusp for a canine."""
    half = 0.965 * crown.width_mm / 2
    drop = np.zeros_like(u)
    for radius, inward in ((crown.mesial_radius_mm, 1 - u), (crown.distal_radius_mm, 1 + u)):
        left = np.clip(radius - inward * half, 0, radius)
        drop += radius - np.sqrt(radius**2 - left**2)
    return drop + crown.cusp_mm * np.abs(u) ** 1.3


def _crown(crown: Crown, *, upper: bool, columns: int, rows: int) -> _Grid:
    """Build a crown: edge at y = 0, gum towards +y, labial face towards +z, mesial side towards +x."""
    u, distal, mesial = _columns(crown, columns)
    drop = _edge_drop(crown, u)
    share = np.linspace(0, 1, rows) ** 1.25
    h = drop + share[:, None] * (crown.height_mm + _ROOT_MM - drop)
    x = u * half_width(crown, h)
    front = labial_z(crown, u, h, upper=upper)
    thick = np.minimum(np.vectorize(thickness_mm)(h - drop), 6.5 if upper else 5.8) * (1 - 0.7 * u**2)
    front_sheet = np.stack([x, h, front], -1).reshape(-1, 3)
    back_sheet = np.stack([x, h, front - thick], -1).reshape(-1, 3)
    number = np.arange(rows * columns).reshape(rows, columns)
    offset = rows * columns
    faces = [_quads(number), _quads(number + offset)[:, ::-1]]
    rim = np.concatenate([number[::-1, 0], number[0, 1:], number[1:, -1]])
    faces.append(_quads(np.stack([rim + offset, rim])))
    cap = np.stack([number[-1], number[-1] + offset])
    faces.append(_quads(cap))
    gum = np.stack(
        [
            u,
            half_width(crown, np.full_like(u, crown.height_mm)) * u,
            crown.height_mm - 2.6 * np.abs(u) ** 2.5,
        ],
        -1,
    )
    gum = np.column_stack([gum[:, 1], gum[:, 2], labial_z(crown, u, gum[:, 2], upper=upper)])
    return _Grid(
        np.concatenate([front_sheet, back_sheet]),
        np.concatenate(faces).astype(np.int32),
        int(number[0, mesial]),
        int(number[0, distal]),
        np.concatenate([number[0, mesial:], number[1:, -1]]),
        np.concatenate([number[0, distal::-1], number[1:, 0]]),
        gum,
    )


def _quads(number: NDArray[np.integer]) -> NDArray[np.int32]:
    """Triangulate a grid of vertex numbers so that rows going up and columns going right face the viewer."""
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    return np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    ).astype(np.int32)


def _on_arch(k: float, arc: float) -> float:
    """Give x of the point at an arc length from the middle of the parabola z = -k x^2."""
    x = np.linspace(0, 40, 4001)
    length = np.concatenate([[0], np.cumsum(np.hypot(np.diff(x), np.diff(k * x**2)))])
    return float(np.interp(arc, length, x))


def build_row(anatomy: Anatomy, *, upper: bool, columns: int, rows: int) -> Row:
    """Build one row in the occlusal frame, its mesial corners where overjet and overbite put them."""
    jitter = np.random.default_rng([anatomy.jitter_seed, int(upper)])
    crowns = anatomy.upper if upper else anatomy.lower
    k = _ARCH[upper]
    # sides in code order: quadrants 1 and 4 are the performer's right, on the viewer's left
    quadrants = {-1: "1" if upper else "4", 1: "2" if upper else "3"}
    points, faces, corners, sides, gums = [], [], {}, {}, {-1: [], 1: []}
    base = 0
    for side in (-1, 1):
        arc = 0.05
        for place, crown in enumerate(crowns):
            grid = _crown(crown, upper=upper, columns=columns, rows=rows)
            x = _on_arch(k, arc + crown.width_mm / 2)
            arc += crown.width_mm + 0.1
            # a tooth's own frame has mesial towards +x: right for the performer's right side, mirrored for
            # the left
            local, gum = grid.points * (1 if side < 0 else -1, 1, 1), grid.gum * (1 if side < 0 else -1, 1, 1)
            turn = np.arctan(2 * k * x) * side + np.deg2rad(jitter.normal(0, 1.5))
            rise = crown.edge_up_mm + (jitter.normal(0, 0.12) if place else 0.0)
            rotate = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
            at = np.array([side * x, rise, -k * x**2])
            local, gum = local @ rotate.T + at, gum @ rotate.T + at
            points.append(local)
            gums[side].append(gum)
            faces.append((grid.faces if side < 0 else grid.faces[:, ::-1]) + base)
            if place == 0:
                for angle, index, line in (
                    ("m", grid.mesial, grid.mesial_side),
                    ("d", grid.distal, grid.distal_side),
                ):
                    corners[f"{quadrants[side]}1{angle}"] = base + index
                    sides[f"{quadrants[side]}1{angle}"] = line + base
            base += len(local)
    vertices = np.concatenate(points)
    # each gum polyline runs distal to mesial in its own tooth; string them from the viewer's left to the
    # right
    gum_line = np.concatenate([*reversed(gums[-1]), *(g[::-1] for g in gums[1])])
    flip = 1.0 if upper else -1.0
    vertices, gum_line = vertices * (1, flip, 1), gum_line * (1, flip, 1)
    faces_all = np.concatenate(faces)
    if not upper:
        faces_all = faces_all[:, ::-1]
    middle = vertices[[corners[q + "1m"] for q in quadrants.values()]].mean(0)
    wanted = (
        np.zeros(3)
        if upper
        else np.array([anatomy.midline_shift_mm, anatomy.overbite_mm, -anatomy.overjet_mm])
    )
    return Row(vertices + wanted - middle, faces_all, corners, sides, gum_line + wanted - middle)
