"""A calibrated camera: projection with lens distortion, its derivative, and rays back out.

Pixels: x right, y down, the centre of the top-left pixel is (0, 0). The camera frame is x right, y down, z
away from the camera. Lens terms in OpenCV's order: k1 k2 p1 p2 k3 k4 k5 k6 s1 s2 s3 s4 tau_x tau_y, of which
the first 4, 5, 8, 12 or 14 are given.
Source: Brown 1971 for the radial and tangential terms; the rational, thin-prism and tilt terms as OpenCV
documents them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Array, Rigid, frozen, same_fields


@dataclass(frozen=True, slots=True)
class Camera:
    """Pinhole camera with lens distortion, placed against the reference view.

    Parameters
    ----------
    width_px, height_px : int
    matrix : array, shape (3, 3), px
    distortion : array, shape (4,), (5,), (8,), (12,) or (14,)
    camera_from_reference : Rigid
        Identity for the reference view itself.
    """

    width_px: int
    height_px: int
    matrix: Array
    distortion: Array
    camera_from_reference: Rigid = field(default_factory=Rigid)

    def __eq__(self, other: object) -> bool:
        return same_fields(self, other)

    @property
    def focal_px(self) -> float:
        """Mean of the two focal lengths, px."""
        return float(0.5 * (self.matrix[0, 0] + self.matrix[1, 1]))

    @property
    def centre_mm(self) -> Array:
        """The camera's own centre in the reference frame, mm."""
        return self.camera_from_reference.inverse().translation_mm

    def project(self, points_mm: Array) -> Array:
        """Project points of the reference frame, shape (n, 3), to pixels, (n, 2). Points behind give NaN."""
        return self.project_local(self.camera_from_reference.apply(points_mm))

    def project_local(self, points_mm: Array) -> Array:
        """Project points of this camera's frame, shape (n, 3), to pixels, (n, 2). Points behind give NaN."""
        z = np.where(points_mm[:, 2] > 0, points_mm[:, 2], np.nan)
        return self.pixels_from_slopes(points_mm[:, :2] / z[:, None])

    def pixels_from_slopes(self, slopes: Array) -> Array:
        """Bend undistorted ray slopes (x/z, y/z), shape (n, 2), through the lens to pixels, shape (n, 2)."""
        bent = _bent(slopes, self._terms())
        return bent @ self.matrix[:2, :2].T + self.matrix[:2, 2]

    def project_with_derivative(self, points_mm: Array) -> tuple[Array, Array]:
        """Project points of the reference frame and give d(pixel)/d(point).

        Returns
        -------
        pixels : array, shape (n, 2), px
        derivative : array, shape (n, 2, 3), px per mm of the reference frame
        """
        local = self.camera_from_reference.apply(points_mm)
        z = np.where(local[:, 2] > 0, local[:, 2], np.nan)
        slopes = local[:, :2] / z[:, None]
        bent, by_slope = _bend(slopes, self._terms())
        slope_by_point = np.zeros((len(local), 2, 3))
        slope_by_point[:, 0, 0] = slope_by_point[:, 1, 1] = 1.0 / z
        slope_by_point[:, :, 2] = -slopes / z[:, None]
        k = self.matrix[:2, :2]
        derivative = k @ by_slope @ slope_by_point @ self.camera_from_reference.rotation
        return bent @ k.T + self.matrix[:2, 2], derivative

    def slopes_from_pixels(self, pixels: Array) -> Array:
        """Undo lens and camera matrix: ray slopes (x/z, y/z) in this camera's frame, shape (n, 2).

        Newton's method on the exact forward model: a fixed-point iteration is pixels off under strong lenses.

        Raises
        ------
        DegenerateGeometryError
            When a pixel has no ray: the lens model folds back before reaching it.
        """
        centred = np.asarray(pixels, np.float64) - self.matrix[:2, 2]
        target: Array = np.asarray(np.linalg.solve(self.matrix[:2, :2], centred.T).T, np.float64)
        terms = self._terms()
        if not terms.any():
            return target
        slopes = target.copy()
        for _ in range(50):
            bent, by_slope = _bend(slopes, terms)
            step = _solved(by_slope, target - bent)
            # a full Newton step may jump over the fold of a strong lens; half a unit of slope is 27 degrees
            step *= np.minimum(1.0, 0.5 / np.maximum(np.abs(step).max(1, keepdims=True), 1e-300))
            slopes = slopes + step
            if not np.abs(step).max(initial=0.0) > 1e-14:
                break
        bent, by_slope = _bend(slopes, terms)
        turned = by_slope[:, 0, 0] * by_slope[:, 1, 1] - by_slope[:, 0, 1] * by_slope[:, 1, 0]
        bad = ~((np.abs(target - bent).max(1) < 1e-9) & (turned > 0))
        if bad.any():
            x, y = np.asarray(pixels, float)[bad][0]
            raise DegenerateGeometryError(
                f"no ray reaches pixel ({x:.1f}, {y:.1f}): the distortion model folds back before it"
            )
        return slopes

    def rays(self, pixels: Array) -> Array:
        """Give rays with z = 1 in this camera's own frame for pixels, shape (n, 2) -> (n, 3)."""
        slopes = self.slopes_from_pixels(pixels)
        return np.column_stack([slopes, np.ones(len(slopes))])

    def point_at(self, pixels: Array, depth_mm: Array) -> Array:
        """Give the points of the reference frame at a depth along this camera's axis, shape (n, 3), mm."""
        local = self.rays(pixels) * np.asarray(depth_mm, float)[:, None]
        return self.camera_from_reference.inverse().apply(local)

    def fold_slope(self) -> float:
        """Give the ray slope at which the radial lens terms stop growing; infinite where they never do."""
        # every rendering asks, and a camera's lens does not change
        return _fold_slope(tuple(self._terms()[:8].tolist()))

    def scaled(self, factor: float) -> Camera:
        """Give the camera of the same picture resized by a factor, pixel centres kept at whole numbers."""
        matrix = np.array(self.matrix)
        matrix[:2, :2] *= factor
        matrix[:2, 2] = (matrix[:2, 2] + 0.5) * factor - 0.5
        return replace(
            self,
            width_px=round(self.width_px * factor),
            height_px=round(self.height_px * factor),
            matrix=frozen(matrix),
        )

    def _terms(self) -> Array:
        terms = np.zeros(14)
        terms[: len(self.distortion)] = self.distortion
        return terms


@lru_cache(maxsize=64)
def _fold_slope(radial: tuple[float, ...]) -> float:
    k1, k2, _, _, k3, k4, k5, k6 = radial
    # derivative of r (1 + k1 r2 + ...) / (1 + k4 r2 + ...), as a polynomial in q = r^2
    top, low = np.array([k3, k2, k1, 1.0]), np.array([k6, k5, k4, 1.0])
    bend: Array = np.polysub(np.polymul(np.polyder(top), low), np.polymul(top, np.polyder(low)))
    slope = np.polyadd(np.polymul(top, low), np.polymul([2.0, 0.0], bend))
    roots = np.concatenate([np.roots(slope), np.roots(low)])
    real = roots[(np.abs(roots.imag) < 1e-9) & (roots.real > 0)].real
    return float(np.sqrt(real.min())) if real.size else float("inf")


def _solved(matrices: Array, right: Array) -> Array:
    """Solve many 2 x 2 systems by Cramer's rule, shape (n, 2); not finite where a matrix is singular."""
    (a, b), (c, d) = (matrices[:, 0, 0], matrices[:, 0, 1]), (matrices[:, 1, 0], matrices[:, 1, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        per_det = 1.0 / (a * d - b * c)
        first, second = right[:, 0] * per_det, right[:, 1] * per_det
        return np.column_stack([d * first - b * second, a * second - c * first])


def _bent(slopes: Array, terms: Array) -> Array:
    """Apply the lens terms to ray slopes, shape (n, 2)."""
    k1, k2, p1, p2, k3, k4, k5, k6, s1, s2, s3, s4, tau_x, tau_y = terms
    if not terms.any():
        return slopes
    # columns apart, and terms that are not there left out: a third of the time of all terms in pairs
    x, y = np.ascontiguousarray(slopes[:, 0]), np.ascontiguousarray(slopes[:, 1])
    q = x * x + y * y
    radial = 1 + q * (k1 + q * (k2 + q * k3))
    if k4 or k5 or k6:
        radial /= 1 + q * (k4 + q * (k5 + q * k6))
    bent_x, bent_y = x * radial, y * radial
    if p1 or p2:
        bent_x += 2 * p1 * x * y + p2 * (q + 2 * x * x)
        bent_y += p1 * (q + 2 * y * y) + 2 * p2 * x * y
    if s1 or s2 or s3 or s4:
        bent_x += q * (s1 + s2 * q)
        bent_y += q * (s3 + s4 * q)
    bent = np.column_stack([bent_x, bent_y])
    if tau_x or tau_y:
        h = _tilt(tau_x, tau_y)
        flat = bent @ h[:, :2].T + h[:, 2]
        return np.asarray(flat[:, :2] / flat[:, 2:])
    return bent


def _bend(slopes: Array, terms: Array) -> tuple[Array, Array]:
    """Apply the lens terms to ray slopes; also give the derivative, shape (n, 2, 2)."""
    k1, k2, p1, p2, k3, k4, k5, k6, s1, s2, s3, s4, tau_x, tau_y = terms
    x, y = np.ascontiguousarray(slopes[:, 0]), np.ascontiguousarray(slopes[:, 1])
    q = x * x + y * y
    top, low = 1 + q * (k1 + q * (k2 + q * k3)), 1 + q * (k4 + q * (k5 + q * k6))
    radial = top / low
    radial_by_q = (k1 + q * (2 * k2 + 3 * q * k3) - radial * (k4 + q * (2 * k5 + 3 * q * k6))) / low
    # each of the four derivatives in a row of its own
    rows = np.empty((2, 2, len(slopes)))
    cross = 2 * x * y * radial_by_q
    rows[0, 0] = radial + 2 * x * x * radial_by_q
    rows[0, 1] = rows[1, 0] = cross
    rows[1, 1] = radial + 2 * y * y * radial_by_q
    if p1 or p2:
        rows[0, 0] += 2 * p1 * y + 6 * p2 * x
        rows[0, 1] += 2 * p1 * x + 2 * p2 * y
        rows[1, 0] += 2 * p1 * x + 2 * p2 * y
        rows[1, 1] += 6 * p1 * y + 2 * p2 * x
    if s1 or s2 or s3 or s4:
        prism_x, prism_y = s1 + 2 * s2 * q, s3 + 2 * s4 * q
        rows[0] += 2 * prism_x * np.stack([x, y])
        rows[1] += 2 * prism_y * np.stack([x, y])
    by = rows.transpose(2, 0, 1)
    if tau_x or tau_y:
        h = _tilt(tau_x, tau_y)
        flat_terms = np.array(terms)
        flat_terms[-2:] = 0.0
        flat = (_bent(slopes, flat_terms) if flat_terms.any() else slopes) @ h[:, :2].T + h[:, 2]
        tilted = flat[:, :2] / flat[:, 2:]
        by_bent = (h[None, :2, :2] - tilted[:, :, None] * h[None, 2:, :2]) / flat[:, 2, None, None]
        return tilted, by_bent @ by
    return _bent(slopes, terms), by


def _tilt(tau_x: float, tau_y: float) -> Array:
    """Give the homography of a sensor tilted by two angles (Scheimpflug), shape (3, 3)."""
    cx, sx, cy, sy = np.cos(tau_x), np.sin(tau_x), np.cos(tau_y), np.sin(tau_y)
    turn = np.array([[cy, 0, -sy], [0, 1, 0], [sy, 0, cy]]) @ np.array([[1, 0, 0], [0, cx, sx], [0, -sx, cx]])
    project = np.array([[turn[2, 2], 0, -turn[0, 2]], [0, turn[2, 2], -turn[1, 2]], [0, 0, 1.0]])
    return np.asarray(project @ turn)
