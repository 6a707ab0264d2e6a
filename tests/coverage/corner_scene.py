"""Clicked corners of simulated heads without rendering anything, with every unknown drawn from its prior.

The upper corners and all soft-tissue landmarks are seen; lower corners, which the upper teeth cover in a
normal bite, are left out. The geometry here is written apart from the fit's, so that a mistake there shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from bite.evidence.priors import prior_of
from bite.files.device import Device
from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.head import Head
from bite.fit.parameters import Prior
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array, rotation_from_vector
from bite.geometry.teeth import UPPER_CORNERS
from demo_bite.scene import WIDE_GRIN, Bite, Detail, Sensor, Settings, Shot, draw_anatomy
from demo_bite.scene.assemble import Head as SceneHead
from demo_bite.scene.assemble import build_head
from demo_bite.scene.cameras import make_cameras, place_head

KNOWN_ENAMEL = Device("simulated", "simulated", enamel_bias_mm=0.0, enamel_bias_sd_mm=0.02)
PRIOR: Prior = prior_of(KNOWN_ENAMEL)[0]
HEADS = 24
CAMERA = replace(Sensor(), focal_px=1400.0, width_px=1920, height_px=1440)
HEAD, TEETH, SIZE = slice(0, 6), slice(6, 9), 9
"""Places in the scene's own ten unknowns: head turn and shift, teeth forward right up, log size."""


@dataclass(frozen=True, slots=True)
class Planted:
    """What all frames of one performer share: forward, right, up, mm, and the log of the size error."""

    teeth_mm: Array
    log_size: float


@dataclass(frozen=True, slots=True)
class CornerFrame:
    """One frame: the evidence, and what bounds how well anybody can do with it."""

    block: CornerBlock
    slopes: Array
    """d(pixel) / d(unknown) over sigma at the truth, shape (rows, 10), by central differences"""


@cache
def performer(number: int) -> SceneHead:
    """Build one of the heads that the study draws from."""
    return build_head(draw_anatomy(np.random.default_rng(number), Bite()), WIDE_GRIN, Detail.COARSE)


def draw_planted(rng: np.random.Generator) -> Planted:
    """Draw what is shared: forward evenly, the rest from the prior of the fit."""
    lateral, size = PRIOR.sd[7], PRIOR.sd[11]
    teeth = np.array([rng.uniform(-2.5, 2.5), rng.normal(0, lateral), rng.normal(0, lateral)])
    return Planted(teeth, float(rng.normal(0.0, size)))


def corner_frame(
    rng: np.random.Generator,
    head: SceneHead,
    planted: Planted,
    *,
    views: int = 1,
    turn_deg: float | None = None,
    click_px: float = 0.5,
    landmark_px: float = 0.5,
    bite_mm: Array | None = None,
    solved_within: Array = PRIOR.sd,
) -> CornerFrame:
    """Click one frame of a performer.

    Parameters
    ----------
    bite_mm : array, shape (3,), optional
        How far this bite stands off the shared place: forward, right, up.
    solved_within : array, shape (14,)
        Sds that the head's place is drawn from: those of the prior unless the study asks what if not.
    """
    settings = Settings(
        sensor=CAMERA, shot=Shot(views=views, baseline_mm=60.0, turn_deg=turn_deg), depth=False
    )
    camera_from_head = place_head(rng, settings)
    cameras, _ = make_cameras(settings, camera_from_head)
    names = [*UPPER_CORNERS, *head.landmarks]
    on_teeth = np.arange(len(names)) < len(UPPER_CORNERS)
    axes = np.stack([head.forward, np.cross(head.up, head.forward), head.up])
    shift = planted.teeth_mm + (0.0 if bite_mm is None else bite_mm)
    at = head.vertices[[*(head.corners[c] for c in UPPER_CORNERS), *head.landmarks.values()]]
    true = camera_from_head.apply(at)
    # the digital teeth: of another size about the middle of their row, and not yet moved
    solved = at.copy()
    middle = at[on_teeth].mean(0)
    solved[on_teeth] = middle + (at[on_teeth] - middle) * np.exp(-planted.log_size) - shift @ axes
    front = _front(head) - shift @ axes
    turn = rng.normal(0.0, solved_within[3], 3)
    slip = rng.normal(0.0, solved_within[0], 3)
    # the solved head stands where the true one is brought back from
    centre = camera_from_head.apply(front[None])[0]
    back = rotation_from_vector(turn).T
    solved = (camera_from_head.apply(solved) - centre - slip) @ back.T + centre
    axes_seen = camera_from_head.turn(axes) @ back.T
    pivot = (-slip) @ back.T + centre
    model = Head(
        points_mm=np.zeros((0, 3)),
        faces=np.zeros((0, 3), dtype=np.int32),
        face_part=np.zeros(0, dtype=np.int8),
        with_teeth=np.zeros(0, dtype=bool),
        forward=axes_seen[0],
        right=axes_seen[1],
        up=axes_seen[2],
        centre_mm=pivot,
        corners=dict(zip(names[: len(UPPER_CORNERS)], solved, strict=False)),
        landmarks=dict(zip(names[len(UPPER_CORNERS) :], solved[on_teeth.sum() :], strict=True)),
    )
    sigma = np.where(on_teeth, click_px, landmark_px)
    use = np.where(on_teeth, Use.CORNER, Use.LANDMARK).astype(np.int8)
    clicked = []
    for k, camera in enumerate(cameras):
        at_px = camera.project(true) + rng.normal(0.0, sigma[:, None], (len(names), 2))
        clicked.append(Clicks(f"view {k}", camera, tuple(names), use, at_px, sigma))
    truth = np.concatenate([turn, slip, shift, [planted.log_size]])
    slopes = _slopes(solved, on_teeth, axes_seen, pivot, cameras, sigma, truth)
    return CornerFrame(CornerBlock(model, tuple(clicked)), slopes)


def bound_sd_mm(frames: Sequence[CornerFrame], bite_sd_mm: Array | None = None) -> float:
    """Give the Cramer-Rao bound of the shared forward offset, priors counted as evidence, mm.

    Parameters
    ----------
    bite_sd_mm : array, shape (3,), optional, known spread between the frames
    """
    head = np.concatenate([np.full(3, PRIOR.sd[3] ** -2.0), np.full(3, PRIOR.sd[0] ** -2.0)])
    total = np.diag([0.0, PRIOR.sd[7] ** -2.0, PRIOR.sd[8] ** -2.0, PRIOR.sd[11] ** -2.0])
    for frame in frames:
        matrix = frame.slopes.T @ frame.slopes
        inner = matrix[HEAD, HEAD] + np.diag(head)
        mixed = matrix[6:, HEAD]
        word = matrix[6:, 6:] - mixed @ np.linalg.solve(inner, mixed.T)
        if bite_sd_mm is not None and bite_sd_mm.any():
            aside = word[:, :3]
            root = np.diag(bite_sd_mm)
            core = np.eye(3) + root @ word[:3, :3] @ root
            word = word - aside @ root @ np.linalg.solve(core, root @ aside.T)
        total += word
    return float(np.sqrt(np.linalg.inv(total)[0, 0]))


def _front(head: SceneHead) -> Array:
    """Give the middle of the incisors, about which a misplaced head is turned."""
    return np.asarray(head.vertices[[head.corners[c] for c in UPPER_CORNERS]].mean(0))


def _slopes(
    solved: Array,
    on_teeth: Array,
    axes: Array,
    pivot: Array,
    cameras: Sequence[Camera],
    sigma: Array,
    truth: Array,
) -> Array:
    middle = solved[on_teeth].mean(0)

    def seen(unknowns: Array) -> Array:
        points = solved.copy()
        grown = middle + (solved[on_teeth] - middle) * np.exp(unknowns[SIZE])
        points[on_teeth] = grown + unknowns[TEETH] @ axes
        points = (points - pivot) @ rotation_from_vector(unknowns[:3]).T + pivot + unknowns[3:6]
        return np.concatenate([(c.project(points) / sigma[:, None]).ravel() for c in cameras])

    columns = []
    for k in range(len(truth)):
        step = np.zeros(len(truth))
        step[k] = 1e-4
        columns.append((seen(truth + step) - seen(truth - step)) / 2e-4)
    return np.stack(columns, axis=1)
