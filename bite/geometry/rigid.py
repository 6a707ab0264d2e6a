"""Rigid motions and the similarity that best carries one point set onto another.

Transforms are named ``a_from_b``: they take coordinates in frame b and give them in frame a, so that in
``a_from_b @ b_from_c`` adjacent names cancel.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Array = NDArray[np.float64]


def frozen(values: object) -> Array:
    """Give a read-only float64 copy, for arrays that travel in frozen dataclasses."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def crossed(first: Array, second: Array) -> Array:
    """Give the cross products of vectors in columns, shape (3, n): a third of the time of ``numpy.cross``.

    Examples
    --------
    >>> crossed(np.eye(3)[:, [0]], np.eye(3)[:, [1]]).ravel().tolist()
    [0.0, 0.0, 1.0]
    """
    (a, b, c), (d, e, f) = first, second
    return np.stack([b * f - c * e, c * d - a * f, a * e - b * d])


def same_fields(one: DataclassInstance, two: object) -> bool:
    """Tell whether two dataclasses are of one class and alike, arrays element by element."""
    if type(one) is not type(two):
        return False
    pairs = ((getattr(one, field.name), getattr(two, field.name)) for field in fields(one))
    return all(
        np.array_equal(mine, other) if isinstance(mine, np.ndarray) else bool(mine == other)
        for mine, other in pairs
    )


@dataclass(frozen=True, slots=True)
class Rigid:
    """A rotation and a translation, x_a = rotation @ x_b + translation_mm.

    Parameters
    ----------
    rotation : array, shape (3, 3)
    translation_mm : array, shape (3,), mm
    """

    rotation: Array = field(default_factory=lambda: frozen(np.eye(3)))
    translation_mm: Array = field(default_factory=lambda: frozen(np.zeros(3)))

    def __eq__(self, other: object) -> bool:
        return same_fields(self, other)

    def apply(self, points: Array) -> Array:
        """Move points, shape (..., 3), mm."""
        return points @ self.rotation.T + self.translation_mm

    def turn(self, directions: Array) -> Array:
        """Turn directions, shape (..., 3), without moving them."""
        return directions @ self.rotation.T

    def inverse(self) -> Rigid:
        """Give ``b_from_a`` for ``a_from_b``."""
        return Rigid(frozen(self.rotation.T), frozen(-self.rotation.T @ self.translation_mm))

    def __matmul__(self, other: Rigid) -> Rigid:
        return Rigid(
            frozen(self.rotation @ other.rotation),
            frozen(self.rotation @ other.translation_mm + self.translation_mm),
        )


def cross_matrix(vector: Array) -> Array:
    """Give the matrix [v] with [v] @ x = v x x, shape (3, 3)."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def rotation_from_vector(rotation_rad: Array) -> Array:
    """Turn an axis times an angle into a rotation matrix, shape (3, 3).

    Source: Rodrigues' formula.

    Examples
    --------
    >>> r = rotation_from_vector(np.full(3, np.deg2rad(120) / np.sqrt(3)))
    >>> np.allclose(r, [[0, 0, 1], [1, 0, 0], [0, 1, 0]])
    True
    """
    angle = float(np.linalg.norm(rotation_rad))
    k = cross_matrix(rotation_rad)
    # the series near zero keeps full precision where sin(a)/a and (1-cos a)/a^2 would lose it
    a = np.sinc(angle / np.pi)
    b = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    return np.asarray(np.eye(3) + a * k + b * (k @ k))


def left_jacobian(rotation_rad: Array) -> Array:
    """Give J with exp(w + dw) = exp(J dw) exp(w) to first order, shape (3, 3).

    Source: the derivative of Rodrigues' formula, e.g. Barfoot, State Estimation for Robotics, eq. 7.77b
    (from memory).
    """
    angle = float(np.linalg.norm(rotation_rad))
    k = cross_matrix(rotation_rad)
    b = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    c = 1.0 / 6.0 - angle**2 / 120.0 if angle < 1e-2 else (angle - np.sin(angle)) / angle**3
    return np.asarray(np.eye(3) + b * k + c * (k @ k))


@dataclass(frozen=True, slots=True)
class Similarity:
    """The motion that carries ``source`` onto ``target``: target = scale * rotation @ source + translation.

    ``rms`` is the root mean square distance left, in the unit of the target.
    """

    rotation: Array
    translation: Array
    scale: float
    rms: float
    residuals: Array

    @property
    def rigid(self) -> Rigid:
        """The rotation and translation alone."""
        return Rigid(frozen(self.rotation), frozen(self.translation))


def align(source: Array, target: Array, *, with_scale: bool = False) -> Similarity:
    """Find the rotation, translation and, if wanted, scale that carry one point set onto another.

    Least squares, all points of one weight, never a reflection.

    Parameters
    ----------
    source, target : array, shape (n, d), the same points in both frames
    with_scale : bool
        Also estimate a scale; otherwise it is 1.

    Raises
    ------
    DegenerateGeometryError
        With fewer than d points, or points on one line (in 3-D), where the rotation is not determined.

    Source: Umeyama 1991, eq. 34-43; with scale 1 this is Kabsch 1976.

    Examples
    --------
    >>> x = np.array([[0., 0.], [1., 0.], [0., 2.]]); y = np.array([[0., 0.], [-1., 0.], [0., 2.]])
    >>> found = align(x, y, with_scale=True)
    >>> round(found.scale, 6), found.translation.round(6).tolist()
    (0.72111, [-0.8, 0.4])
    """
    count, dims = source.shape
    if source.shape != target.shape or count < dims:
        raise DegenerateGeometryError(
            f"aligning needs at least {dims} paired points, got {source.shape} and {target.shape}"
        )
    source_mean, target_mean = source.mean(0), target.mean(0)
    a, b = source - source_mean, target - target_mean
    u, d, vt = np.linalg.svd(b.T @ a / count)
    if not d[0] > 0 or d[dims - 2] <= 1e-12 * d[0]:
        raise DegenerateGeometryError("aligning needs points that are not all on one line")
    sign = np.ones(dims)
    if np.linalg.det(u) * np.linalg.det(vt) < 0:
        sign[-1] = -1.0
    rotation = (u * sign) @ vt
    scale = float((d * sign).sum() / np.mean((a**2).sum(1))) if with_scale else 1.0
    translation = target_mean - scale * rotation @ source_mean
    residuals = target - scale * source @ rotation.T - translation
    rms = float(np.sqrt(np.mean((residuals**2).sum(1))))
    return Similarity(rotation, translation, scale, rms, residuals)
