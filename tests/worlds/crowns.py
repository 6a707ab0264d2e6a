"""Teeth with crowns of their own: convex faces, rounded angles, embrasures and gaps, and gum about them.

Mouth space as in ``head``. Each crown is a tube of rings from the incisal edge to the neck; each ring is a
superellipse. Mean widths are those of reference/crown_widths.toml where it has them (11: 8.6, 31: 5.4 mm);
the other widths, all lengths, thicknesses and curves are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

UPPER, LOWER = "upper", "lower"
_AROUND, _RINGS = 28, 20
_ARCH_MM = {UPPER: (31.0, 34.0), LOWER: (28.0, 31.0)}
"""Half width and depth of the ellipse along which the labial faces stand."""


@dataclass(frozen=True, slots=True)
class Crown:
    """One crown, mm: ``mesial_mm`` and ``distal_mm`` are the radii of its incisal angles."""

    width_mm: float
    length_mm: float
    edge_mm: float
    neck_mm: float
    bulge_mm: float
    mesial_mm: float
    distal_mm: float
    exponent: float


@dataclass(frozen=True, slots=True)
class Rows:
    """Both rows of a mouth: crowns from the midline outwards on each side, and gaps before each."""

    upper: dict[str, tuple[Crown, ...]]
    lower: dict[str, tuple[Crown, ...]]
    gaps_mm: dict[str, tuple[float, ...]]
    overjet_mm: float
    overbite_mm: float


@dataclass(frozen=True, slots=True)
class TeethMesh:
    """Crowns and gum: vertices, triangles of 'upper', 'lower' and 'gum', the corners' vertices, and, for each
    lower distal corner, the vertices down the side of its crown from the neck to the corner."""

    vertices_mm: Array
    faces: dict[str, Ints]
    corners: dict[str, int]
    sides: dict[str, Ints]
    deep: NDArray[np.bool_]
    """vertices of tongue and palate"""


_MEAN = {
    UPPER: (
        Crown(8.6, 10.5, 1.1, 6.5, 1.5, 0.6, 1.5, 2.6),
        Crown(6.6, 9.3, 1.0, 6.0, 1.3, 0.9, 1.9, 2.5),
        Crown(7.6, 10.0, 1.6, 7.5, 1.8, 2.2, 2.8, 2.2),
        Crown(7.1, 8.5, 4.0, 8.5, 1.6, 2.0, 2.2, 2.3),
    ),
    LOWER: (
        Crown(5.4, 8.8, 1.0, 5.6, 1.0, 0.4, 0.6, 2.5),
        Crown(5.9, 9.2, 1.0, 5.9, 1.0, 0.5, 0.9, 2.5),
        Crown(6.7, 10.3, 1.5, 7.4, 1.5, 1.9, 2.4, 2.2),
        Crown(7.0, 8.6, 4.0, 8.0, 1.5, 2.0, 2.1, 2.3),
    ),
}
_EDGE_UP_MM = {UPPER: (0.0, 0.7, 0.2, 0.8), LOWER: (0.0, 0.1, -0.5, 0.4)}
"""How far each tooth's edge stands from the central's towards its own gum."""


def draw_rows(rng: np.random.Generator, overjet_mm: float, overbite_mm: float) -> Rows:
    """Draw the crowns of one mouth."""
    row = {}
    for name, means in _MEAN.items():
        size, length, bulge = 1.0 + rng.normal(0, [0.05, 0.06, 0.15])
        pair = tuple(
            replace(
                mean,
                width_mm=mean.width_mm * size * (1.0 + rng.normal(0, 0.02)),
                length_mm=mean.length_mm * length,
                bulge_mm=mean.bulge_mm * bulge,
                mesial_mm=mean.mesial_mm * rng.uniform(0.7, 1.3),
                distal_mm=mean.distal_mm * rng.uniform(0.7, 1.3),
                exponent=mean.exponent + rng.uniform(-0.2, 0.2),
            )
            for mean in means
        )
        row[name] = {
            side: tuple(replace(c, width_mm=c.width_mm * (1.0 + rng.normal(0, 0.01))) for c in pair)
            for side in ("right", "left")
        }
    gaps = {name: tuple(rng.uniform(0.1, 0.5, 9)) for name in (UPPER, LOWER)}
    if rng.random() < 0.15:
        gaps[UPPER] = (0.8, *gaps[UPPER][1:])
    return Rows(row[UPPER], row[LOWER], gaps, overjet_mm, overbite_mm)


def scanned(rows: Rows, rng: np.random.Generator, sd_mm: float) -> Rows:
    """Draw what scanning and remeshing make of a mouth: each row's faces fuller or flatter as one, by an sd.

    Incisal angles come out rounder or sharper, so that a corner lies off by twice the sd, right and up alike.
    """
    # the bulge stands out by 0.93 of itself at most; a corner moves by 0.29 of its angle's radius
    row = {}
    for name, crowns in ((UPPER, rows.upper), (LOWER, rows.lower)):
        fuller_mm = float(rng.normal(0.0, sd_mm)) / 0.93
        row[name] = {
            side: tuple(
                replace(
                    crown,
                    bulge_mm=crown.bulge_mm + fuller_mm,
                    distal_mm=max(crown.distal_mm + float(rng.normal(0.0, 2.0 * sd_mm)) / 0.29, 0.2),
                )
                for crown in own
            )
            for side, own in crowns.items()
        }
    return replace(rows, upper=row[UPPER], lower=row[LOWER])


def teeth_mesh(rows: Rows, *, worn_mm: float = 0.0, scale: float = 1.0) -> TeethMesh:
    """Build both rows with their gum.

    Parameters
    ----------
    worn_mm : float
        What is missing of each crown at its edge.
    scale : float
        Both rows enlarged about the midline of the upper edge.
    """
    vertices: list[Array] = []
    faces: dict[str, list[Ints]] = {UPPER: [], LOWER: [], "gum": []}
    corners: dict[str, int] = {}
    sides: dict[str, Ints] = {}
    deep: list[int] = []
    count = 0
    for name, crowns in ((UPPER, rows.upper), (LOWER, rows.lower)):
        up = 1.0 if name == UPPER else -1.0
        shift = np.zeros(3) if name == UPPER else np.array([0.0, rows.overbite_mm, -rows.overjet_mm])
        necks: list[tuple[float, float, float]] = []
        for side in ("right", "left"):
            left = 1.0 if side == "left" else -1.0
            along = rows.gaps_mm[name][0] / 2.0
            for k, crown in enumerate(crowns[side]):
                own, triangles, distal = _crown(crown, worn_mm)
                middle = along + crown.width_mm / 2.0
                placed = _on_arch(own, name, middle, left, up, _EDGE_UP_MM[name][k]) + shift
                flipped = left * up > 0
                faces[name].append((triangles[:, ::-1] if flipped else triangles) + count)
                if k == 0:
                    quadrant = {("upper", "right"): "11d", ("upper", "left"): "21d"} | {
                        ("lower", "right"): "41d",
                        ("lower", "left"): "31d",
                    }
                    code = quadrant[name, side]
                    sides[code] = distal[::-1] + count
                    corners[code] = int(distal[_corner_ring(crown)] + count)
                vertices.append(placed)
                count += len(placed)
                necks.append((left * middle, crown.width_mm, crown.length_mm + _EDGE_UP_MM[name][k]))
                along = middle + crown.width_mm / 2.0 + rows.gaps_mm[name][1 + k + (4 if left > 0 else 0)]
        for own, triangles, behind in ((*_gum(necks, name, up), False), (*_behind(name, up), True)):
            vertices.append(own + shift)
            deep += range(count, count + len(own)) if behind else []
            faces["gum"].append(triangles + count)
            count += len(own)
    is_deep = np.zeros(count, dtype=bool)
    is_deep[deep] = True
    return TeethMesh(
        np.concatenate(vertices) * scale,
        {name: np.concatenate(parts) for name, parts in faces.items()},
        corners,
        sides,
        is_deep,
    )


def _heights(crown: Crown) -> Array:
    """Heights of the rings over the edge, mm: dense where the angles are round."""
    low = crown.distal_mm * (1.0 - np.cos(np.linspace(0.0, np.pi / 2.0, 9)))
    return np.concatenate([low, np.linspace(low[-1], crown.length_mm + 1.5, _RINGS - 9 + 1)[1:]])


def _corner_ring(crown: Crown) -> int:
    """The ring where the distal angle turns by half."""
    return int(np.argmin(np.abs(_heights(crown) - crown.distal_mm * (1.0 - np.sqrt(0.5)))))


def _crown(crown: Crown, worn_mm: float) -> tuple[Array, Ints, Ints]:
    """Give along (distal positive), over the edge, out; triangles; the distal vertices from the edge."""
    heights = _heights(crown)
    share = heights / crown.length_mm
    turn = np.linspace(0.0, 2.0 * np.pi, _AROUND, endpoint=False)
    half = crown.width_mm / 2.0
    # the contact stands at a quarter of the height; the neck is a fifth narrower
    taper = 1.0 - 0.22 * np.clip((share - 0.25) / 0.75, 0.0, 1.3) ** 1.5

    def reach(radius: float) -> Array:
        over = np.clip(radius - heights, 0.0, None)
        return (half - radius + np.sqrt(np.maximum(radius**2 - over**2, 0.0))) * taper

    mesial, distal = reach(crown.mesial_mm), reach(crown.distal_mm)
    thick = crown.edge_mm + (crown.neck_mm - crown.edge_mm) * np.clip(share, 0.0, 1.0) ** 0.8
    # the edge itself is rounded over half a millimetre
    thick = thick * np.sqrt(np.clip(0.25 + heights / 0.5, 0.0, 1.0))
    face = crown.bulge_mm * np.sin(np.pi * 0.62 * np.clip(share, 0.0, 1.2))
    face -= 0.5 * crown.edge_mm * (1.0 - np.sqrt(np.clip(0.25 + heights / 0.5, 0.0, 1.0)))
    power = 2.0 / crown.exponent
    cos, sin = np.cos(turn), np.sin(turn)
    across = np.sign(cos) * np.abs(cos) ** power
    out = np.sign(sin) * np.abs(sin) ** power
    width = np.where(across[None, :] >= 0, distal[:, None], mesial[:, None])
    # the labial face is flatter than half a superellipse: its front half is shallow
    depth = np.where(out[None, :] >= 0, 0.35, 0.65) * thick[:, None]
    x = width * across[None, :]
    z = face[:, None] - 0.35 * thick[:, None] + depth * out[None, :]
    y = np.broadcast_to(np.maximum(heights, worn_mm)[:, None], x.shape)
    rings = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    first = np.arange(_AROUND)
    after = (first + 1) % _AROUND
    quads = [
        np.stack(
            [k * _AROUND + first, k * _AROUND + after, (k + 1) * _AROUND + after, (k + 1) * _AROUND + first],
            1,
        )
        for k in range(_RINGS - 1)
    ]
    quad = np.concatenate(quads)
    cap = np.stack([np.full(_AROUND, len(rings)), after, first], axis=1)
    vertices = np.vstack([rings, rings[:_AROUND].mean(axis=0)])
    triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]], cap])
    return vertices, triangles, np.arange(_RINGS) * _AROUND


def _arch(name: str, along: Array) -> tuple[Array, Array, Array]:
    """Points of the arch at lengths from the midline, and its outward normals' angle: x, z, angle."""
    a, b = _ARCH_MM[name]
    angle = np.linspace(0.0, 1.45, 600)
    x, z = a * np.sin(angle), b * (np.cos(angle) - 1.0)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(z)))])
    at = np.interp(np.abs(along), length, angle)
    normal = np.arctan2(np.sin(at) / a, np.cos(at) / b)
    return np.sign(along) * a * np.sin(at), b * (np.cos(at) - 1.0), np.sign(along) * normal


def _on_arch(own: Array, name: str, middle: float, left: float, up: float, edge_up: float) -> Array:
    x, z, angle = (float(v[0]) for v in _arch(name, np.array([left * middle])))
    along, out = left * own[:, 0], own[:, 2]
    return np.stack(
        [
            x + along * np.cos(angle) + out * np.sin(angle),
            up * (own[:, 1] + edge_up),
            z - along * np.sin(angle) + out * np.cos(angle),
        ],
        axis=1,
    )


def _gum(necks: list[tuple[float, float, float]], name: str, up: float) -> tuple[Array, Ints]:
    """A sheet about the necks, scalloped: low between the teeth, high over each."""
    along = np.linspace(-34.0, 34.0, 137)
    margin = np.full(len(along), -np.inf)
    middle = np.array([n[0] for n in necks])
    nearest = np.argmin(np.abs(along[:, None] - middle), axis=1)
    width, length = (np.array([n[i] for n in necks])[nearest] for i in (1, 2))
    off = np.clip(np.abs(along - middle[nearest]) / (width / 2.0), 0.0, 1.2)
    margin = length - 3.2 * off**2
    level = np.array([0.0, 0.4, 1.0, 2.0, 4.0, 7.0, 12.0])
    out = np.array([-2.2, -0.2, 0.6, 0.9, 0.9, 0.6, -0.5])
    bulge = 1.2 if name == UPPER else 0.8
    return _sheet(name, along, up * (margin[:, None] + level[None, :]), bulge + out, up)


def _behind(name: str, up: float) -> tuple[Array, Ints]:
    """Tongue and palate: what is seen through gaps."""
    along = np.linspace(-30.0, 30.0, 41)
    level = up * np.broadcast_to(np.linspace(-2.0, 16.0, 7), (len(along), 7))
    return _sheet(name, along, level, np.full(7, -11.0), up)


def _sheet(name: str, along: Array, level: Array, out: Array, up: float) -> tuple[Array, Ints]:
    x, z, angle = _arch(name, along)
    points = np.stack(
        [
            x[:, None] + out[None, :] * np.sin(angle)[:, None],
            level,
            z[:, None] + out[None, :] * np.cos(angle)[:, None],
        ],
        axis=-1,
    )
    rows, columns = level.shape
    at = np.arange(rows * columns).reshape(rows, columns)
    quad = np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], axis=-1).reshape(-1, 4)
    if up < 0:
        quad = quad[:, ::-1]
    return points.reshape(-1, 3), np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]])
