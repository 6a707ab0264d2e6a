"""A whole head: skin, two rows of teeth, gums and cavity as one mesh in two poses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array, rotation_from_vector
from bite.geometry.teeth import CORNERS, LOWER, OTHER, SKIN, UPPER
from demo_bite.scene.anatomy import Anatomy
from demo_bite.scene.gums import build_cavity, build_gum
from demo_bite.scene.head import Rings, build_skin, midline_landmarks
from demo_bite.scene.settings import Detail, Mouth
from demo_bite.scene.teeth import build_row

GROUPS = ("face", "teeth_up", "teeth_low", "gums", "tongue")
"""Group names of the written meshes, in order; parts by name are these with gums and tongue as ``other``."""
PART_OF_GROUP = (SKIN, UPPER, LOWER, OTHER, OTHER)

_RINGS = {
    Detail.COARSE: (Rings(72, 3, 7, 5, 16, 30), (11, 8)),
    Detail.MEDIUM: (Rings(96, 4, 7, 6, 20, 42), (17, 14)),
    Detail.FULL: (Rings(168, 5, 9, 9, 37, 92), (26, 20)),
    Detail.FINE: (Rings(200, 6, 11, 10, 44, 110), (31, 24)),
}


@dataclass(frozen=True, slots=True)
class Head:
    """A head in the head frame (x right, y up, z to the viewer, mm), in the bite pose and with closed lips.

    Parameters
    ----------
    vertices, rest_vertices : array, shape (n, 3)
    faces : array, shape (m, 3); face_group : array, shape (m,), index into GROUPS; face_part : index into
    PARTS vertex_group : array, shape (n,) corners, landmarks : vertex numbers sides : vertices from each
    corner along its crown's side to the gum forward, up : unit vectors in the head frame lip : array, shape
    (n,), 0 skin, 1 red of the lips, 2 inside of the lips
    """

    vertices: Array
    rest_vertices: Array
    faces: NDArray[np.int32]
    face_group: NDArray[np.int64]
    face_part: NDArray[np.int64]
    vertex_group: NDArray[np.int64]
    corners: Mapping[str, int]
    landmarks: Mapping[str, int]
    sides: Mapping[str, NDArray[np.int64]]
    forward: Array
    up: Array
    lip: Array
    anatomy: Anatomy

    @property
    def with_teeth(self) -> NDArray[np.bool_]:
        """Which vertices move with the teeth: both rows, gums and cavity."""
        return np.asarray(self.vertex_group > 0)


def build_head(anatomy: Anatomy, mouth: Mouth, detail: Detail = Detail.MEDIUM) -> Head:
    """Build a head, its teeth where they truly are."""
    rings, (columns, rows) = _RINGS[detail]
    skin, rest = build_skin(anatomy, mouth, rings), build_skin(anatomy, None, rings)
    upper = build_row(anatomy, upper=True, columns=columns, rows=rows)
    lower = build_row(anatomy, upper=False, columns=columns, rows=rows)
    pitch = rotation_from_vector(np.array([anatomy.occlusal_pitch_rad, 0.0, 0.0]))
    gums_up, gums_low = build_gum(upper, upper=True), build_gum(lower, upper=False)
    tongue = build_cavity()
    pieces = [
        (0, skin.vertices, skin.faces),
        (1, upper.vertices @ pitch.T, upper.faces),
        (2, lower.vertices @ pitch.T, lower.faces),
        (3, gums_up[0] @ pitch.T, gums_up[1]),
        (3, gums_low[0] @ pitch.T, gums_low[1]),
        (4, tongue[0] @ pitch.T, tongue[1]),
    ]
    starts = np.cumsum([0, *(len(p[1]) for p in pieces)])
    vertices = np.concatenate([p[1] for p in pieces])
    rest_vertices = vertices.copy()
    rest_vertices[: len(skin.vertices)] = rest.vertices
    face_group = np.concatenate([np.full(len(p[2]), p[0]) for p in pieces])
    numbered = [(upper, int(starts[1])), (lower, int(starts[2]))]
    found = {code: row.corners[code] + start for row, start in numbered for code in row.corners}
    return Head(
        vertices=vertices,
        rest_vertices=rest_vertices,
        faces=np.concatenate([p[2] + start for p, start in zip(pieces, starts[:-1], strict=True)]).astype(
            np.int32
        ),
        face_group=face_group,
        face_part=np.array(PART_OF_GROUP)[face_group],
        vertex_group=np.concatenate([np.full(len(p[1]), p[0]) for p in pieces]),
        corners={code: found[code] for code in CORNERS},
        landmarks=skin.landmarks | midline_landmarks(rest, rings),
        sides={code: row.sides[code] + start for row, start in numbered for code in row.sides},
        forward=pitch[:, 2].copy(),
        up=pitch[:, 1].copy(),
        lip=np.concatenate([skin.lip, np.zeros(len(vertices) - len(skin.lip))]),
        anatomy=anatomy,
    )
