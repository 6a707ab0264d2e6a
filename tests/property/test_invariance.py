"""What must not matter to an offset: the world's origin, the order of clicks, left or right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bite.evidence.clicks.for_fit import corner_block
from bite.evidence.depth.for_fit import depth_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.fit.corner_block import Clicks, CornerBlock
from bite.fit.head import Head
from bite.fit.offset import OffsetFit, fit_offset
from bite.fit.parameters import make_prior
from bite.fit.seen_model import RAYS_PX
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import mirrored
from demo_bite.scene import Detail, Sensor, Settings, SolveError, as_bite_frame, simulate
from tests.fit.test_solver import TRUTH, clicks

FLIP = np.array([-1.0, 1.0, 1.0])
small = st.floats(-0.3, 0.3)
shift = st.floats(-50.0, 50.0)


def in_a_moved_world(block: CornerBlock, move: Rigid) -> CornerBlock:
    """Give the same evidence with head and cameras expressed from another origin."""
    head = block.head
    moved = replace(
        head,
        forward=move.turn(head.forward),
        right=move.turn(head.right),
        up=move.turn(head.up),
        centre_mm=move.apply(head.centre_mm),
        corners={k: move.apply(v) for k, v in head.corners.items()},
        landmarks={k: move.apply(v) for k, v in head.landmarks.items()},
    )
    back = move.inverse()
    views = tuple(
        replace(v, camera=replace(v.camera, camera_from_reference=v.camera.camera_from_reference @ back))
        for v in block.views
    )
    return CornerBlock(moved, views)


@settings(max_examples=15, deadline=None)
@given(st.tuples(small, small, small), st.tuples(shift, shift, shift), st.integers(0, 1000))
def test_moving_cameras_and_scene_together_changes_nothing(turn, place, seed) -> None:
    block = clicks(TRUTH, np.random.default_rng(seed))
    move = Rigid(frozen(rotation_from_vector(np.array(turn))), frozen(place))
    # priors of equal sd on all axes, so that they too look the same from everywhere
    here, there = (fit_offset([b], make_prior()) for b in (block, in_a_moved_world(block, move)))
    # each fit ends within a step of 0.01 mm of its optimum and takes the same steps: what differs is rounding
    assert there.offset.value == pytest.approx(here.offset.value, abs=1e-4)
    assert there.offset.sd == pytest.approx(here.offset.sd, rel=1e-4)


@settings(max_examples=10, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_clicks_does_not_matter(random) -> None:
    block = clicks(TRUTH, np.random.default_rng(1))
    order = list(range(len(block.views[0].names)))
    random.shuffle(order)

    def shuffled(view: Clicks) -> Clicks:
        return replace(
            view,
            names=tuple(view.names[k] for k in order),
            use=view.use[order],
            pixels=view.pixels[order],
            sigma_px=view.sigma_px[order],
        )

    mixed = CornerBlock(block.head, tuple(shuffled(v) for v in block.views))
    one, two = fit_offset([block], make_prior()), fit_offset([mixed], make_prior())
    assert two.offset.value == pytest.approx(one.offset.value, abs=1e-9)


def offset_evidence_of(frame) -> list:
    solved = solved_head(frame)
    assert solved is not None
    return [depth_block(frame, solved.head), corner_block(frame, solved.head)]


def fitted(frame) -> OffsetFit:
    return fit_offset(offset_evidence_of(frame), prior_of(frame.device)[0])


@pytest.fixture(scope="module")
def frame():
    quiet = Settings(
        t_mm=1.1, right_mm=0.4, sensor=Sensor(gross_share=0.0), solve=SolveError(0.0), detail=Detail.COARSE
    )
    return as_bite_frame(simulate(np.random.default_rng(8), quiet))


@pytest.mark.slow
def test_a_mirrored_scene_gives_the_mirrored_answer(frame, monkeypatch: pytest.MonkeyPatch) -> None:
    """Columns turned round, x negated, right and left renamed: the same offset, and right becomes left."""
    view = frame.views[0]
    width = view.camera.width_px
    matrix = np.array(view.camera.matrix)
    matrix[0, 2] = width - 1 - matrix[0, 2]
    lens = np.array(view.camera.distortion)
    if len(lens) > 3:
        lens[3] *= -1.0  # of the tangential terms, p2 is the one odd in x
    camera = replace(view.camera, matrix=frozen(matrix), distortion=frozen(lens))
    assert frame.depth_camera is view.camera

    def turned(point):
        return point if point.x_px is None else replace(point, x_px=width - 1 - point.x_px)

    corners = replace(
        view.corners,
        points={mirrored(k): turned(p) for k, p in view.corners.points.items()},
        landmarks={},
    )
    rig = frame.rig
    other = replace(
        frame,
        views=(replace(view, camera=camera, corners=corners, image=view.image[:, ::-1]),),
        depth_camera=camera,
        depth_map=replace(frame.depth_map, depth_mm=frame.depth_map.depth_mm[:, ::-1]),
        rig=replace(
            rig,
            forward=rig.forward * FLIP,
            up=rig.up * FLIP,
            corners={mirrored(k): n for k, n in rig.corners.items()},
            landmarks={},
        ),
        solved_mesh=replace(frame.solved_mesh, vertices_mm=frame.solved_mesh.vertices_mm * FLIP),
        rest_mesh=replace(frame.rest_mesh, vertices_mm=frame.rest_mesh.vertices_mm * FLIP),
    )
    # far skin is thinned from one side, and other pixels have other noise: 0.24 sd of the height came of it
    monkeypatch.setattr("bite.fit.depth_block.THINNING", 1)
    plain = replace(frame, views=(replace(view, corners=replace(view.corners, landmarks={})),))
    one = fitted(plain)
    # the pattern of rays within a pixel has no mirror of its own: it is turned round with the scene
    monkeypatch.setattr("bite.fit.seen_model.RAYS_PX", RAYS_PX * [-1.0, 1.0])
    two = fitted(other)
    # bumps of the teeth are laid out from one side: a tenth of an sd between the two
    for way, sign in (("offset", 1.0), ("right", -1.0), ("up", 1.0)):
        here, there = getattr(one, way), getattr(two, way)
        assert sign * there.value == pytest.approx(here.value, abs=0.1 * here.sd), way


@pytest.mark.slow
def test_head_axes_follow_the_teeth(frame) -> None:
    head: Head = offset_evidence_of(frame)[0].head
    axes = np.stack([head.right, head.up, head.forward])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    # up and right in an unmirrored picture whose y runs down; forward towards the camera
    assert head.up[1] < -0.9 and head.right[0] > 0.9 and head.forward[2] < -0.9
