"""What one frame says of the unknowns that all frames of a performer share, everything of its own taken out.

A frame's own unknowns (where its head stands, sensor smoothing, waves of its solved skin) are integrated out
with their priors. What is left is a quadratic in the shared unknowns, without the shared priors, so that
several frames can be added up and each shared prior counted once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.fit.corner_block import CornerBlock
from bite.fit.offset import OffsetFit
from bite.fit.parameters import COUNT, HEAD_SHIFT, HEAD_TURN, P, Prior
from bite.geometry.rigid import Array, frozen

SHARED = (P.FORWARD_MM, P.RIGHT_MM, P.UP_MM, P.LOG_SIZE, P.ENAMEL_BIAS_MM)
"""Shared unknowns, in the order of every frame's information. Forward, right and up are the head's own
directions, turned with each frame's solved pose, so that they are the same physical move however the head
stands."""
_ALONG_FORWARD = (P.FORWARD_MM, P.ENAMEL_BIAS_MM)
_HEAD = np.r_[HEAD_SHIFT, HEAD_TURN]


@dataclass(frozen=True, slots=True)
class FrameInformation:
    """A frame's log marginal likelihood of the shared unknowns x, ``vector @ x - x @ information @ x / 2``.

    That is the information (canonical) form of a Gaussian; its own unknowns are integrated out.

    Parameters
    ----------
    information : array, shape (5, 5), in the order of SHARED
    vector : array, shape (5,)
    skin_sd_mm : float
        What slow errors of the solved skin make of the frame's own offset. It is part of the information; the
        skin is one rig's, so that these errors may be the same in every frame.
    """

    information: Array
    vector: Array
    skin_sd_mm: float = 0.0

    def moved(self, forward_mm: float) -> FrameInformation:
        """Give the same told from a zero that lies so much farther back."""
        return replace(self, vector=frozen(self.vector + forward_mm * self.information[:, 0]))


@dataclass(frozen=True, slots=True)
class LinearisedFrame:
    """A corners-only frame, linearised: its information, and how its head follows the shared unknowns.

    The head parameters that fit best are ``head + follow @ (x - at)``, for x in the order of SHARED.
    """

    information: FrameInformation
    at: Array
    head: Array
    follow: Array


def information_of_fit(fit: OffsetFit, prior: Prior, *, own_axes: bool = True) -> FrameInformation:
    """Marginalise a fit that gave the frame an offset of its own over all that is the frame's alone.

    The fit's covariance is more than the inverse of its information where readings hang together; the
    information is divided by that ratio for the forward offset, so that a frame alone gets back the sd that
    its own check told.

    Parameters
    ----------
    fit : OffsetFit
    prior : Prior, the one of the fit
    own_axes : bool
        Whether right and up are the head's own. Where they are the picture's they are not shared, and
        neither is the tooth size beside them: it then speaks of forward and enamel bias alone.
    """
    told = list(SHARED if own_axes else _ALONG_FORWARD)
    solution = fit.solution
    precision = prior.precision
    bread = solution.bread[np.ix_(told, told)]
    scale = np.sqrt(np.diag(bread))
    whole = np.linalg.inv(bread / np.outer(scale, scale)) / np.outer(scale, scale)
    information = _no_less_than_nothing(whole - np.diag(precision[told]), scale)
    vector = whole @ solution.parameters[told] - precision[told] * prior.mean[told]
    t = P.FORWARD_MM
    private = [k for k in range(COUNT) if k not in told]
    from_private = float(solution.bread[t, private] ** 2 @ precision[private])
    apart = float(solution.sampling[t, t]) + from_private
    worked_with = float(bread[0] @ information @ bread[0])
    ratio = apart / worked_with if worked_with > 0 and apart > 0 else 1.0
    places = [SHARED.index(p) for p in told]
    own = np.concatenate([np.zeros(COUNT), *(block.extra_precision for block in solution.blocks)])
    matrix = np.zeros((len(SHARED), len(SHARED)))
    matrix[np.ix_(places, places)] = information / ratio
    vectors = np.zeros(len(SHARED))
    vectors[places] = vector / ratio
    return FrameInformation(frozen(matrix), frozen(vectors), float(np.sqrt(solution.bread[t] ** 2 @ own)))


def linearised_frame(
    block: CornerBlock, prior: Prior, parameters: Array, *, robust: bool = True
) -> LinearisedFrame:
    """Linearise a frame that has clicked corners and landmarks alone.

    Parameters
    ----------
    block : CornerBlock
    prior : Prior
    parameters : array, shape (14,), where to linearise
    robust : bool, whether far clicks count less (Huber); not wise far from the answer
    """
    linear = block.predict(parameters)
    # what the model's corners are off by is the same in all frames: their shared right and up take up most
    slope = linear.slope[:, :COUNT]
    weight = linear.robust_weight if robust else linear.weight
    weighted = slope * weight[:, None]
    matrix, gradient = slope.T @ weighted, weighted.T @ linear.residual
    shared, head = list(SHARED), list(_HEAD)
    precision = prior.precision[head]
    inner = np.linalg.inv(matrix[np.ix_(head, head)] + np.diag(precision))
    mixed = matrix[np.ix_(head, shared)]
    step = inner @ (gradient[head] + precision * (prior.mean[head] - parameters[head]))
    information = matrix[np.ix_(shared, shared)] - mixed.T @ inner @ mixed
    at = parameters[shared]
    vector = gradient[shared] - mixed.T @ step + information @ at
    found = FrameInformation(frozen(0.5 * (information + information.T)), frozen(vector))
    return LinearisedFrame(found, at.copy(), parameters[head] + step, -inner @ mixed)


def with_head(parameters: Array, head: Array) -> Array:
    """Give parameters with the head placed anew, shape (14,)."""
    placed = parameters.copy()
    placed[_HEAD] = head
    return placed


def _no_less_than_nothing(information: Array, scale: Array) -> Array:
    """Cut negative powers that rounding leaves where a frame says nothing."""
    powers, axes = np.linalg.eigh(0.5 * (information + information.T) * np.outer(scale, scale))
    return np.asarray((axes * np.maximum(powers, 0.0)) @ axes.T / np.outer(scale, scale))
