"""The invented head: published sizes, one mesh in two poses, complete labels, lips that close."""

from itertools import pairwise

import numpy as np
import pytest

from bite.geometry.camera import Camera
from bite.geometry.render import Grid, face_normals, render
from bite.geometry.teeth import CORNERS, LANDMARKS, LOWER, OTHER, SKIN, UPPER
from demo_bite.scene.anatomy import draw_anatomy
from demo_bite.scene.assemble import GROUPS, build_head
from demo_bite.scene.settings import EMBRASURE, THIN_STRIP, WIDE_GRIN, Bite, Detail
from demo_bite.scene.teeth import _crown, build_row


def seen_parts(vertices, head):
    camera = Camera(320, 400, np.array([[500.0, 0, 159.5], [0, 500.0, 199.5], [0, 0, 1]]), np.zeros(5))
    points = vertices * (1, -1, -1) + (0, 40, 300)
    face = render(Grid.of(camera), points, head.faces).face
    return set(np.unique(head.face_part[face[face >= 0]]))


def test_drawn_widths_have_the_published_spread():
    rng = np.random.default_rng(11)
    people = [draw_anatomy(rng, Bite()) for _ in range(600)]
    for row, place, mean, sd in (("upper", 0, 8.6, 0.6), ("upper", 1, 6.7, 0.6), ("lower", 0, 5.4, 0.4)):
        widths = np.array([getattr(person, row)[place].width_mm for person in people])
        # four standard errors of a mean and of an sd; clipping at 2.2 sd narrows the sd by 3 %
        assert widths.mean() == pytest.approx(mean, abs=4 * sd / np.sqrt(600))
        assert widths.std() == pytest.approx(sd * 0.97, rel=4 / np.sqrt(1200))


@pytest.mark.parametrize("upper", [True, False])
def test_crowns_are_as_wide_as_drawn(upper):
    anatomy = draw_anatomy(np.random.default_rng(5), Bite())
    for crown in anatomy.upper if upper else anatomy.lower:
        points = _crown(crown, upper=upper, columns=31, rows=40).points
        # rows of vertices miss the widest place by a little, and the mesh is never wider
        assert np.ptp(points[:, 0]) == pytest.approx(crown.width_mm, rel=0.004)
        assert np.ptp(points[:, 0]) <= crown.width_mm + 1e-12


@pytest.mark.parametrize("upper", [True, False])
def test_neighbouring_crowns_do_not_run_into_each_other(upper):
    anatomy = draw_anatomy(np.random.default_rng(5), Bite())
    row = build_row(anatomy, upper=upper, columns=17, rows=14)
    centres = np.array([tooth.mean(0) for tooth in np.split(row.vertices, 10)])
    for side in (centres[:5], centres[5:]):
        crowns = anatomy.upper if upper else anatomy.lower
        apart = np.linalg.norm(np.diff(side[:, [0, 2]], axis=0), axis=1)
        wanted = [(a.width_mm + b.width_mm) / 2 for a, b in pairwise(crowns)]
        # centres of bodies lie inside the arch on which widths are measured, so they stand a little closer
        assert (apart > 0.8 * np.array(wanted)).all()
        assert (apart < 1.05 * np.array(wanted)).all()


@pytest.mark.parametrize("bite", [Bite(2.9, 2.4), Bite(2.0, -2.5), Bite(3.6, 5.2)])
def test_overjet_and_overbite_are_those_of_the_mesial_corners(bite):
    head = build_head(draw_anatomy(np.random.default_rng(2), bite), WIDE_GRIN, Detail.COARSE)
    at = {code: head.vertices[vertex] for code, vertex in head.corners.items()}
    gap = (at["11m"] + at["21m"]) / 2 - (at["41m"] + at["31m"]) / 2
    assert gap @ head.forward == pytest.approx(bite.overjet_mm, abs=1e-9)
    assert -gap @ head.up == pytest.approx(bite.overbite_mm, abs=1e-9)
    assert head.forward @ head.up == pytest.approx(0.0, abs=1e-12)


def test_occlusal_plane_falls_towards_the_front():
    head = build_head(draw_anatomy(np.random.default_rng(2), Bite(occlusal_pitch_deg=8.0)), WIDE_GRIN)
    assert head.forward == pytest.approx([0, -np.sin(np.deg2rad(8)), np.cos(np.deg2rad(8))])


def test_corners_stand_in_picture_order_and_apart_by_a_little_less_than_a_crown():
    anatomy = draw_anatomy(np.random.default_rng(9), Bite())
    head = build_head(anatomy, WIDE_GRIN)
    x = [head.vertices[head.corners[code]][0] for code in CORNERS]
    assert sorted(x[:4]) == x[:4]
    assert sorted(x[4:]) == x[4:]
    for near, far, crown in (("11m", "11d", anatomy.upper[0]), ("41m", "41d", anatomy.lower[0])):
        apart = np.linalg.norm(head.vertices[head.corners[near]] - head.vertices[head.corners[far]])
        assert 0.86 * crown.width_mm < apart < crown.width_mm


@pytest.mark.parametrize("detail", list(Detail))
def test_parts_and_landmarks_are_complete(detail):
    head = build_head(draw_anatomy(np.random.default_rng(4), Bite()), EMBRASURE, detail)
    assert set(head.face_part) == {SKIN, UPPER, LOWER, OTHER}
    assert set(head.face_group) == set(range(len(GROUPS)))
    assert set(head.corners) == set(CORNERS)
    assert set(head.landmarks) == set(LANDMARKS)
    assert np.unique(head.faces).size == len(head.vertices) == len(head.rest_vertices)
    assert (head.vertex_group[head.faces] == head.face_group[:, None]).all()


def test_corner_positions_do_not_depend_on_the_mesh():
    anatomy = draw_anatomy(np.random.default_rng(4), Bite())
    coarse, fine = (build_head(anatomy, WIDE_GRIN, d) for d in (Detail.COARSE, Detail.FINE))
    for code in CORNERS:
        assert coarse.vertices[coarse.corners[code]] == pytest.approx(
            fine.vertices[fine.corners[code]], abs=1e-9
        )


def test_front_surfaces_wind_towards_the_viewer():
    head = build_head(draw_anatomy(np.random.default_rng(4), Bite()), WIDE_GRIN)
    camera = Camera(320, 400, np.array([[500.0, 0, 159.5], [0, 500.0, 199.5], [0, 0, 1]]), np.zeros(5))
    points = head.vertices * (1, -1, -1) + (0, 40, 300)
    seen = render(Grid.of(camera), points, head.faces)
    hit = np.unique(seen.face[seen.face >= 0])
    towards = -(face_normals(points, head.faces)[hit] * points[head.faces[hit]].mean(1)).sum(1)
    assert (towards > 0).mean() > 0.998


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("mouth", [WIDE_GRIN, THIN_STRIP])
def test_lips_bare_the_teeth_in_the_bite_pose_and_hide_them_at_rest(seed, mouth):
    head = build_head(draw_anatomy(np.random.default_rng(seed), Bite()), mouth)
    assert UPPER in seen_parts(head.vertices, head)
    assert not seen_parts(head.rest_vertices, head) & {UPPER, LOWER}


def test_bared_lips_stand_in_front_of_the_incisors():
    for seed in range(8):
        head = build_head(draw_anatomy(np.random.default_rng(seed), Bite()), WIDE_GRIN)
        lip = head.vertices[(head.lip == 1) & (np.abs(head.vertices[:, 0]) < 5)]
        assert 5.0 < lip[:, 2].max() < 11.5
