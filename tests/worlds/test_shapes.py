"""Refined quads, crowns and solve errors against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.worlds.crowns import draw_rows, scanned, teeth_mesh
from tests.worlds.description import SkinError
from tests.worlds.refine import refined, triangles
from tests.worlds.skin_error import misplaced, rotation, vertex_normals, waves

CUBE = np.array([[x, y, z] for x in (-1.0, 1) for y in (-1.0, 1) for z in (-1.0, 1)])
SIDES = np.array([[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]])


def test_a_refined_cube_has_its_known_corners() -> None:
    matrix, quads = refined(SIDES, 8, 1)
    fine = np.asarray(matrix @ CUBE)
    # a corner goes to (mean of face points + 2 mean of edge middles) / 3 = (1/3 + 4/3) / 3
    np.testing.assert_allclose(np.abs(fine[:8]), 5.0 / 9.0)
    # an edge point is the mean of its ends and of two face points: (1 + 1 + 1 + 0) / 4 along two axes
    np.testing.assert_allclose(np.sort(np.abs(fine[8:20]), axis=1), [[0.0, 0.75, 0.75]] * 12)
    np.testing.assert_allclose(np.sort(np.abs(fine[20:]), axis=1), [[0.0, 0.0, 1.0]] * 6)
    assert len(quads) == 24
    assert signed_volume(fine, triangles(quads)) * signed_volume(CUBE, triangles(SIDES)) > 0


def test_a_flat_sheet_stays_flat_and_keeps_its_straight_rim() -> None:
    at = np.arange(20).reshape(4, 5)
    quads = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], axis=-1).reshape(-1, 4)
    y, x = np.divmod(np.arange(20), 5)
    sheet = np.column_stack([x, y, 2.0 * x + y]).astype(float)
    matrix, _ = refined(quads, 20, 2)
    fine = np.asarray(matrix @ sheet)
    np.testing.assert_allclose(np.asarray(matrix.sum(axis=1)).ravel(), 1.0)
    np.testing.assert_allclose(fine[:, 2], 2.0 * fine[:, 0] + fine[:, 1], atol=1e-12)
    assert fine[:, 0].min() == pytest.approx(0.0, abs=1e-12)


def signed_volume(points: np.ndarray, faces: np.ndarray) -> float:
    a, b, c = np.moveaxis(points[faces], 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


@pytest.fixture(scope="module")
def mouth():  # type: ignore[no-untyped-def]  # handed in
    rows = draw_rows(np.random.default_rng(5), 3.0, 2.0)
    return rows, teeth_mesh(rows)


@pytest.mark.parametrize("row", ["upper", "lower"])
def test_crowns_are_apart_and_as_wide_as_drawn(mouth, row: str) -> None:  # type: ignore[no-untyped-def]  # handed in
    rows, mesh = mouth
    faces = mesh.faces[row].reshape(8, -1, 3)
    used = [np.unique(f) for f in faces]
    assert sum(len(u) for u in used) == len(np.unique(mesh.faces[row]))
    crowns = [mesh.vertices_mm[u] for u in used]
    for own in faces:
        assert signed_volume(mesh.vertices_mm, own) > 0
    right, left = crowns[0], crowns[4]
    # the central crowns stand nearly square to x: the arch turns by less than 9 degrees within them
    side = getattr(rows, row)
    for crown, said in ((right, side["right"][0]), (left, side["left"][0])):
        assert np.ptp(crown[:, 0]) == pytest.approx(said.width_mm, rel=0.03)
    gap = left[:, 0].min() - right[:, 0].max()
    assert gap == pytest.approx(rows.gaps_mm[row][0], abs=0.25)
    assert gap > 0.0


def test_the_bite_is_as_drawn(mouth) -> None:  # type: ignore[no-untyped-def]  # handed in
    _, mesh = mouth
    upper, lower = (
        mesh.vertices_mm[np.unique(mesh.faces[r].reshape(8, -1, 3)[0])] for r in ("upper", "lower")
    )
    assert lower[:, 1].max() - upper[:, 1].min() == pytest.approx(2.0, abs=1e-9)

    # the labial faces at the edges: each edge is rounded over half a millimetre
    def edge(crown: np.ndarray, up: float) -> float:
        heights = up * crown[:, 1]
        return float(crown[heights < heights.min() + 0.6, 2].max())

    assert edge(upper, 1.0) - edge(lower, -1.0) == pytest.approx(3.0, abs=0.4)
    for code, sign in (("11d", -1.0), ("21d", 1.0)):
        assert sign * mesh.vertices_mm[mesh.corners[code], 0] > 7.0
    assert mesh.vertices_mm[mesh.corners["41d"], 0] < -4.0 < 4.0 < mesh.vertices_mm[mesh.corners["31d"], 0]


def test_worn_crowns_are_short_by_what_is_missing(mouth) -> None:  # type: ignore[no-untyped-def]  # handed in
    rows, mesh = mouth
    worn = teeth_mesh(rows, worn_mm=0.3)
    assert len(worn.vertices_mm) == len(mesh.vertices_mm)
    upper = np.unique(mesh.faces["upper"].reshape(8, -1, 3)[0])
    assert worn.vertices_mm[upper, 1].min() - mesh.vertices_mm[upper, 1].min() == pytest.approx(0.3)


def test_waves_have_their_size_and_length() -> None:
    line = np.column_stack([np.linspace(0.0, 400.0, 801), np.zeros(801), np.zeros(801)])
    drawn = np.array([waves(line, 25.0, np.random.default_rng(k)) for k in range(200)])
    # 200 draws of some 20 independent stretches: 2 % of the variance
    assert drawn.var() == pytest.approx(1.0, abs=0.1)
    # waves of one length in all directions of space are correlated by sin(kr) / kr, k = 2 pi / length
    lag = 16
    k_r = 2.0 * np.pi * (lag * 0.5) / 25.0
    found = (drawn[:, lag:] * drawn[:, :-lag]).mean() / drawn.var()
    assert found == pytest.approx(np.sin(k_r) / k_r, abs=0.08)


def test_rotations_and_normals() -> None:
    vector = np.array([0.3, -0.7, 0.2])
    np.testing.assert_allclose(rotation(vector), Rotation.from_rotvec(vector).as_matrix(), atol=1e-12)
    normal = vertex_normals(CUBE, triangles(SIDES))
    outward = np.sign(signed_volume(CUBE, triangles(SIDES)))
    assert ((normal * CUBE).sum(axis=1) * outward > 0.9).all()


def test_a_head_is_misplaced_about_its_mouth() -> None:
    at = np.array([3.0, -2.0, 300.0])
    pose = np.eye(4)
    moved = [
        misplaced(pose, at, SkinError(head_sd_mm=0.2, head_sd_deg=0.15), np.random.default_rng(k))
        for k in range(400)
    ]
    shift = np.array([m[:3, :3] @ at + m[:3, 3] - at for m in moved])
    # 1200 numbers: 2 % of their sd
    assert shift.std() == pytest.approx(0.2, rel=0.1)
    angle = np.degrees([Rotation.from_matrix(m[:3, :3]).as_rotvec() for m in moved])
    assert angle.std() == pytest.approx(0.15, rel=0.1)


@pytest.mark.slow
def test_a_scan_errs_by_as_much_as_is_said() -> None:
    rng = np.random.default_rng(4)
    rows = draw_rows(rng, 3.0, 2.0)
    plain = teeth_mesh(rows)
    crown, corner = np.unique(plain.faces["upper"]), plain.corners["11d"]
    forward, up = [], []
    for _ in range(80):
        off = teeth_mesh(scanned(rows, rng, 0.05)).vertices_mm - plain.vertices_mm
        x, y, _ = plain.vertices_mm[crown].T
        forward.append(np.median(off[crown[(np.abs(x - 4.0) < 1.5) & (y > 6.0) & (y < 9.5)], 2]))
        up.append(off[corner, 1])
    # 80 draws know an sd to 8 %
    assert np.std(forward) == pytest.approx(0.05, rel=0.25)
    assert np.std(up) == pytest.approx(0.1, rel=0.25)
