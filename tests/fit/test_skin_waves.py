"""The field of the solved skin: which way is out, what it does to a map, and that its spread is learned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.evidence.depth.for_fit import depth_block
from bite.evidence.model.head import solved_head
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.parameters import COUNT, P
from bite.fit.skin_waves import LEAST_SD_MM, learned_sd_mm, outward_normals
from bite.geometry.teeth import SKIN
from demo_bite.scene import Detail, Sensor, Settings, SolveError, as_bite_frame, simulate


@pytest.fixture(scope="module")
def block() -> DepthBlock:
    quiet = Sensor(smoothing_px=2.0, noise_mm=0.0, gross_share=0.0, highlight_hole_share=0.0,
                   edge_hole_share=0.0,
                   blob_hole_share=0.0, unit_mm=0.0)  # fmt: skip
    exact = SolveError(0.0, 50.0, 0.0, 0.0, 0.0)
    settings = Settings(t_mm=0.0, sensor=quiet, solve=exact, detail=Detail.COARSE)
    frame = as_bite_frame(simulate(np.random.default_rng(3), settings))
    solved = solved_head(frame)
    assert solved is not None
    found = depth_block(frame, solved.head)
    assert found is not None
    return found


@pytest.mark.slow
@pytest.mark.parametrize("turned_round", [False, True])
def test_normals_point_out_of_the_face_whatever_the_winding(block: DepthBlock, turned_round: bool) -> None:
    head = block.head
    if turned_round:
        head = replace(head, faces=head.faces[:, ::-1])
    lips = np.unique(head.faces[head.face_part == SKIN])
    arm = head.points_mm[lips] - head.centre_mm
    ahead = lips[(np.linalg.norm(arm, axis=1) < 45) & (arm @ head.forward > 5)]
    assert np.mean(outward_normals(head)[ahead] @ head.forward > 0) > 0.9


def test_a_closed_head_does_not_turn_the_normals_round() -> None:
    """Normals of a closed surface add up to nothing: only the skin before the teeth can tell."""
    import trimesh

    ball = trimesh.creation.icosphere(3, 90.0)
    points = np.asarray(ball.vertices) + np.array([0.0, 0.0, 390.0])
    faces = np.asarray(ball.faces, dtype=np.int32)
    axes = np.array([[0.0, 0, -1], [1, 0, 0], [0, -1, 0]])
    head = Head(points, faces, np.zeros(len(faces), np.int8), np.zeros(len(points), bool), *axes,
                np.array([0.0, 0, 310]), {}, {})  # fmt: skip
    out = np.einsum("ij,ij->i", outward_normals(head), points - [0.0, 0.0, 390.0])
    assert (out > 0).all()


@pytest.mark.slow
def test_slope_of_a_bump_is_what_moving_the_skin_does(block: DepthBlock) -> None:
    """Facets change and rims move in whole pixels: the slope holds to a tenth, summed over the bump."""
    here = np.zeros(COUNT + len(block.extra_precision))
    here[P.SMOOTHING_PX] = 2.0
    seen = block.predict(here)
    slopes = seen.all_slopes()
    nearest = np.argsort(np.hypot(*block.skin.waves.centres_mm.T))[:6]
    for k in nearest:
        high, low = here.copy(), here.copy()
        high[COUNT + k] += 0.25
        low[COUNT + k] -= 0.25
        change = (block.predict(high).depth_mm - block.predict(low).depth_mm) / 0.5
        used = seen.used
        assert np.corrcoef(change[used], slopes[COUNT + k][used])[0, 1] > 0.9
        assert slopes[COUNT + k][used].sum() == pytest.approx(change[used].sum(), rel=0.1)


def test_the_spread_is_learned() -> None:
    rng = np.random.default_rng(0)
    sd = 0.3
    for _ in range(20):
        heights = rng.normal(0.0, 0.5, 200)
        sd = learned_sd_mm(heights, np.full(200, 1e-4), sd)
    # 200 heights: their sd is good to 0.5 / sqrt(400) = 0.025
    assert sd == pytest.approx(0.5, abs=0.08)
    assert learned_sd_mm(np.zeros(50), np.full(50, 0.09), 0.3) == LEAST_SD_MM
    assert learned_sd_mm(np.zeros(0), np.zeros(0), 0.3) == 0.3
