"""One offset from several frames of one performer: shared unknowns fitted once, with a spread between frames.

Frames with an offset of their own speak through the information of their own fit. Frames of one view with
clicked corners alone have none: turned heads see depth as a sideways shift, which only the shared unknowns
bring together, so they are linearised again and again about the shared answer. Both kinds are added up in one
system. Enamel bias (one for each device) and tooth size are unknowns of that system with their prior
once, so that they are not averaged down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError
from bite.fit.corner_block import CornerBlock
from bite.fit.parameters import COUNT, P, Prior
from bite.geometry.rigid import Array, frozen
from bite.stats.estimate import Estimate
from bite.stats.spread import Spread, SpreadNodes, believed_spreads, spread_told
from bite.together.added_information import Added, Placed, Shared, add_information, marginal_of
from bite.together.added_offset import likely_spread, offset_of, shares_at
from bite.together.frame_information import (
    SHARED,
    FrameInformation,
    LinearisedFrame,
    linearised_frame,
    with_head,
)
from bite.together.left_out import Without, held_apart

ROUNDS = 30
"""Most times that turned frames are linearised anew: what still moves then is told as not settled (our
choice)."""
SETTLED_MM = 0.002
"""As a fit that is brought to rest (`recheck.difference`): far below any sd (our choice)."""
_PLAIN_ROUNDS = 3
"""Far from the answer Huber weights would let go of the good clicks, so that the first rounds know none (our
choice)."""
_FAR_MM = 25.0
"""The bounds of the offset, as in `fit.parameters.make_prior`."""


@dataclass(frozen=True, slots=True)
class JointFrame:
    """One frame of several.

    Parameters
    ----------
    name, device : str
    prior : Prior
    information : FrameInformation or None, from the fit of a frame that has an offset of its own
    corners : CornerBlock or None, for a frame without one
    stands_mm : float, how far forward of the common zero its teeth were solved
    """

    name: str
    device: str
    prior: Prior
    information: FrameInformation | None
    corners: CornerBlock | None
    stands_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Joint:
    """The shared offset, from the common zero.

    Parameters
    ----------
    offset : Estimate, mm, forward positive
        Its sd is the half width of the 95 % interval over 1.96, so that the interval is what it says
        although the spread is hardly known.
    common_sd_mm : float
        Part of it that more frames of the same devices and rig do not shrink.
    spread : Spread, between frames, along forward
    right, up : Estimate, mm
    shares : array, shape (k,), mm that the offset moves for each mm of a frame's own
    without : tuple of k Without, or empty where nobody asked
    parameters : tuple of k arrays, shape (14,)
        Where a corners-only frame stands in the joint fit; empty for a frame with an offset of its own.
    converged : bool
    rounds : int, 0 where nothing had to be linearised
    """

    offset: Estimate
    common_sd_mm: float
    spread: Spread
    right: Estimate
    up: Estimate
    shares: Array
    without: tuple[Without, ...]
    parameters: tuple[Array, ...]
    converged: bool
    rounds: int


def fit_joint(frames: Sequence[JointFrame], *, leave_one_out: bool = True) -> Joint:
    """Fit the shared unknowns to two frames or more.

    Parameters
    ----------
    frames : sequence of JointFrame
    leave_one_out : bool
        Whether each frame is held against the others; takes most of the time.

    Raises
    ------
    DegenerateGeometryError
        With one frame, or where the frames together leave the offset open.
    """
    if len(frames) < 2:
        raise DegenerateGeometryError(f"a joint fit needs two frames or more, got {len(frames)}")
    shared, places = _shared(frames)
    nodes = believed_spreads()
    at = [_start(frame) for frame in frames]
    linearised: list[LinearisedFrame | None] = [None] * len(frames)
    unfitted = any(frame.information is None for frame in frames)
    converged, rounds, before = not unfitted, 0, np.inf
    while True:
        linearised = [
            None
            if frame.information is not None or frame.corners is None
            else linearised_frame(frame.corners, frame.prior, p, robust=rounds >= _PLAIN_ROUNDS)
            for frame, p in zip(frames, at, strict=True)
        ]
        placed = [
            Placed((frame.information or _information_of(about)).moved(frame.stands_mm), place)
            for frame, about, place in zip(frames, linearised, places, strict=True)
        ]
        marginals = [marginal_of(one, nodes) for one in placed]
        added = add_information(marginals, shared, nodes)
        middle = added.average
        if not unfitted or converged or rounds >= ROUNDS:
            break
        likely = likely_spread(added, nodes)
        at = [
            p if about is None else _follow(about, p, middle[place], likely, frame.stands_mm)
            for frame, about, p, place in zip(frames, linearised, at, places, strict=True)
        ]
        rounds += 1
        converged = rounds > _PLAIN_ROUNDS and abs(float(middle[0]) - before) < SETTLED_MM
        before = float(middle[0])
    without: tuple[Without, ...] = ()
    if leave_one_out:
        without = tuple(
            held_apart(frame.information is not None, marginals, k, shared, nodes)
            for k, frame in enumerate(frames)
        )
    return _joint(frames, placed, shared, nodes, added, at, without, converged=converged, rounds=rounds)


def _information_of(about: LinearisedFrame | None) -> FrameInformation:
    if about is None:
        raise DegenerateGeometryError("a joint fit needs a fit or clicked corners of every frame")
    return about.information


def _shared(frames: Sequence[JointFrame]) -> tuple[Shared, list[NDArray[np.int64]]]:
    """Lay out forward, right, up, size, and one enamel bias a device."""
    devices = sorted({frame.device for frame in frames})
    first = {frame.device: frame.prior for frame in reversed(frames)}
    own, bias = list(SHARED[:4]), P.ENAMEL_BIAS_MM
    mean = [*frames[0].prior.mean[own], *(first[name].mean[bias] for name in devices)]
    precision = [*frames[0].prior.precision[own], *(first[name].precision[bias] for name in devices)]
    places = [np.array([0, 1, 2, 3, 4 + devices.index(frame.device)]) for frame in frames]
    return Shared(frozen(mean), frozen(precision)), places


def _start(frame: JointFrame) -> Array:
    start = np.where(np.isfinite(frame.prior.sd), frame.prior.mean, 0.0)
    return np.asarray(start, dtype=np.float64).reshape(COUNT)


def _follow(about: LinearisedFrame, at: Array, shared: Array, spread_mm: Array, stands_mm: float) -> Array:
    """Place a corners-only frame where it fits best beside the shared unknowns, its own shift included."""
    goal = shared.copy()
    goal[0] -= stands_mm
    held = about.information.information[:3, :3]
    vector = about.information.vector[:3] - about.information.information[:3] @ goal
    core = np.eye(3) + spread_mm[:, None] * held * spread_mm
    goal[:3] += spread_mm * np.linalg.solve(core, spread_mm * vector)
    goal[0] = np.clip(goal[0], -_FAR_MM, _FAR_MM)
    head = about.head + about.follow @ (goal - about.at)
    there = with_head(at, head)
    there[list(SHARED)] = goal
    return there


def _joint(
    frames: Sequence[JointFrame],
    placed: Sequence[Placed],
    shared: Shared,
    nodes: SpreadNodes,
    added: Added,
    at: Sequence[Array],
    without: tuple[Without, ...],
    *,
    converged: bool,
    rounds: int,
) -> Joint:
    likely = likely_spread(added, nodes)
    share, at_likely = shares_at(placed, shared, likely)
    row = at_likely.covariance[0, 0]
    offset, skin = offset_of(placed, added, share)
    common = float(row**2 @ shared.precision) + skin
    return Joint(
        offset=offset,
        common_sd_mm=float(np.sqrt(common)),
        spread=spread_told(nodes, added.chance),
        right=_estimate(added, 1),
        up=_estimate(added, 2),
        shares=frozen(share),
        without=without,
        parameters=tuple(
            frozen(p if frame.information is None else np.zeros(0))
            for frame, p in zip(frames, at, strict=True)
        ),
        converged=converged,
        rounds=rounds,
    )


def _estimate(added: Added, place: int) -> Estimate:
    value = float(added.average[place])
    variance = added.covariance[:, place, place] + (added.mean[:, place] - value) ** 2
    return Estimate(value, float(np.sqrt(added.chance @ variance)))


