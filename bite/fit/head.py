"""The solved model as the fit moves it: where each point goes, and how fast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.parameters import HEAD_SHIFT, HEAD_TURN, P
from bite.geometry.rigid import Array, crossed, left_jacobian, rotation_from_vector
from bite.geometry.teeth import SKIN, is_upper


@dataclass(frozen=True, slots=True)
class Head:
    """A solved model in the reference camera's frame.

    Parameters
    ----------
    points_mm : array, shape (n, 3), mm
    faces : array, shape (m, 3); only faces that belong to a part
    face_part : array, shape (m,), index into ``geometry.teeth.PARTS``
    with_teeth : array of bool, shape (n,): the point moves with the teeth (teeth and ``other``)
    forward, right, up : array, shape (3,), unit vectors; right is right in an unmirrored picture
    centre_mm : array, shape (3,): the head turns about it
    corners, landmarks : mapping from code or name to a point, shape (3,), mm
    """

    points_mm: Array
    faces: NDArray[np.int32]
    face_part: NDArray[np.int8]
    with_teeth: NDArray[np.bool_]
    forward: Array
    right: Array
    up: Array
    centre_mm: Array
    corners: Mapping[str, Array]
    landmarks: Mapping[str, Array]

    def teeth_shift(self, parameters: Array) -> Array:
        """Give the shift of the teeth inside the head, shape (3,), mm."""
        return np.asarray(
            parameters[P.FORWARD_MM] * self.forward
            + parameters[P.RIGHT_MM] * self.right
            + parameters[P.UP_MM] * self.up
        )

    def place(self, points_mm: Array, with_teeth: NDArray[np.bool_] | bool, parameters: Array) -> Array:
        """Move points of the solved model to where the parameters put them, shape (n, 3), mm."""
        turn = rotation_from_vector(parameters[HEAD_TURN])
        shifted = points_mm + np.multiply.outer(with_teeth, self.teeth_shift(parameters))
        return (shifted - self.centre_mm) @ turn.T + self.centre_mm + parameters[HEAD_SHIFT]

    def placed(self, parameters: Array) -> Array:
        """Move all points of the model, shape (n, 3), mm."""
        return self.place(self.points_mm, self.with_teeth, parameters)

    def speeds(self, placed_mm: Array, with_teeth: NDArray[np.bool_], parameters: Array) -> Array:
        """Give d(point)/d(parameter) of already placed points, for the nine geometric parameters.

        Returns
        -------
        array, shape (9, n, 3): mm per mm, and mm per radian for the head's turn
        """
        speeds = np.zeros((9, len(placed_mm), 3))
        turn = rotation_from_vector(parameters[HEAD_TURN])
        axes = left_jacobian(parameters[HEAD_TURN])
        arm = placed_mm - self.centre_mm - parameters[HEAD_SHIFT]
        for k in range(3):
            speeds[k, :, k] = 1.0
            speeds[3 + k] = np.cross(axes[:, k], arm)
        for k, direction in enumerate((self.forward, self.right, self.up)):
            speeds[6 + k, with_teeth] = turn @ direction
        return speeds

    def along(
        self, normals: Array, placed_mm: Array, with_teeth: NDArray[np.bool_], parameters: Array
    ) -> Array:
        """Give how fast already placed points move along directions of their own, shape (9, n).

        The same as the product of ``speeds`` with these, without forming them: three numbers a point instead
        of 27, which takes a fifth of the time (2026-11-28).

        Parameters
        ----------
        normals, placed_mm : array, shape (3, n)
        with_teeth : array of bool, shape (n,)
        parameters : array, shape (14,) or longer
        """
        turn = rotation_from_vector(parameters[HEAD_TURN])
        arm = placed_mm - (self.centre_mm + parameters[HEAD_SHIFT])[:, None]
        teeth = turn @ np.stack([self.forward, self.right, self.up], axis=1)
        out = np.empty((9, normals.shape[1]))
        out[:3] = normals
        # n . (axis x arm) = axis . (arm x n)
        out[3:6] = left_jacobian(parameters[HEAD_TURN]).T @ crossed(arm, normals)
        out[6:] = np.where(with_teeth, teeth.T @ normals, 0.0)
        return out

    def row_centre(self, upper: bool) -> Array:
        """Give the middle of a row's known corners, shape (3,), mm: a size error grows from it."""
        row = [point for code, point in self.corners.items() if is_upper(code) == upper]
        return np.mean(row, axis=0) if row else self.centre_mm


def face_moves_with_teeth(face_part: NDArray[np.integer]) -> NDArray[np.bool_]:
    """Tell for each face whether it moves with the teeth: everything but skin."""
    return np.asarray(face_part != SKIN, dtype=np.bool_)


def part_of(head: Head, faces: NDArray[np.bool_]) -> Head:
    """Give the part of a head that some faces make up, with only their vertices."""
    number, renumbered = np.unique(head.faces[faces], return_inverse=True)
    return replace(
        head,
        points_mm=head.points_mm[number],
        faces=renumbered.reshape(-1, 3).astype(np.int32),
        face_part=head.face_part[faces],
        with_teeth=head.with_teeth[number],
    )
