"""Overjet and overbite from the corners of the upper and lower incisal edges, in closed form.

Overjet runs along the occlusal plane, upper in front positive; overbite at right angles to it, overlap
positive. Both are lengths of the picture's geometry: they name no condition and advise no treatment.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Array


class OverjetLabel(StrEnum):
    """How far the upper edge stands in front of the lower one."""

    REVERSE = "reverse"
    EDGE_TO_EDGE = "edge-to-edge"
    SMALL = "small"
    USUAL = "usual"
    INCREASED = "increased"
    LARGE = "large overjet"


class OverbiteLabel(StrEnum):
    """How far the upper edge reaches over the lower one."""

    OPEN = "open"
    EDGE_TO_EDGE = "edge-to-edge"
    SHALLOW = "shallow"
    USUAL = "usual"
    INCREASED = "increased"
    DEEP = "deep"


@dataclass(frozen=True, slots=True)
class BiteBand:
    """Where one label ends and the next begins, mm unless said.

    Published bands disagree (overjet 1-3, 2-3 or 2-4; overbite 1-2, 2-4, or 5-50 % of the lower crown), so
    this is a setting to be shown beside its result and not a standard.
    """

    edge_mm: float = 0.5
    usual_overjet_mm: tuple[float, float] = (1.0, 4.0)
    large_overjet_mm: float = 6.0
    usual_overbite_mm: tuple[float, float] = (1.0, 4.0)
    deep_overbite_mm: float = 6.0
    deep_share: float = 0.5
    """share of the lower crown's height that is covered, 0 to 1; used only where that height is known"""
    source: str = (
        "limits chosen here; 6 mm from Brunelle, Bhat & Lipton 1996 and Krooks 2016 (abstracts); "
        "1-4 mm spans the bands in reference/overjet_overbite.toml"
    )

    def __post_init__(self) -> None:
        for name, (low, high), top in (
            ("overjet", self.usual_overjet_mm, self.large_overjet_mm),
            ("overbite", self.usual_overbite_mm, self.deep_overbite_mm),
        ):
            if not 0 <= self.edge_mm <= low < high <= top:
                raise ValueError(
                    f"{name} band: needed 0 <= edge <= low < high <= top, "
                    f"got {self.edge_mm}, {low}, {high}, {top}"
                )
        if not 0 < self.deep_share <= 1:
            raise ValueError(f"deep_share: needed a share in (0, 1], got {self.deep_share}")


@dataclass(frozen=True, slots=True)
class BiteMeasure:
    """Overjet and overbite with one standard deviation each, mm, and the correlation of their errors."""

    overjet_mm: float
    overjet_sd_mm: float
    overbite_mm: float
    overbite_sd_mm: float
    correlation: float


def overjet_overbite(upper_mm: Array, lower_mm: Array, *, forward: Array, up: Array) -> tuple[float, float]:
    """Measure overjet and overbite, mm, between two rows of edge points.

    Parameters
    ----------
    upper_mm, lower_mm : array, shape (n, 3) and (m, 3), mm
        Points of the upper and lower incisal edges in any one frame; each row enters by its mean.
    forward : array, shape (3,)
        Out of the mouth along the occlusal plane, in the same frame; any length.
    up : array, shape (3,)
        Towards the upper row; its part along ``forward`` is taken out.

    Returns
    -------
    overjet_mm : float
        (mean upper - mean lower) along ``forward``.
    overbite_mm : float
        (mean lower - mean upper) along ``up``; negative is a vertical opening.

    Raises
    ------
    DegenerateGeometryError
        When a row is empty or not finite, or ``forward`` and ``up`` are parallel or of no length.

    Source: the definitions in reference/overjet_overbite.toml.

    Examples
    --------
    >>> upper = np.array([[-8.5, 0.0, 300.0], [8.5, 0.0, 300.0]])
    >>> lower = np.array([[-5.0, -3.0, 303.0], [5.0, -3.0, 303.0]])
    >>> overjet_overbite(upper, lower, forward=np.array([0.0, 0.0, -1.0]), up=np.array([0.0, -1.0, 0.0]))
    (3.0, 3.0)
    """
    axes = bite_axes(forward, up)
    step = axes @ (_mean(upper_mm, "upper") - _mean(lower_mm, "lower"))
    return float(step[0]), float(-step[1])


def overjet_overbite_with_sd(
    upper_mm: Array,
    lower_mm: Array,
    *,
    forward: Array,
    up: Array,
    upper_covariance_mm2: Array,
    lower_covariance_mm2: Array,
    axis_sd_rad: float = 0.0,
) -> BiteMeasure:
    """Measure overjet and overbite, mm, with the sd that the points and the axes bring in.

    First order: exact for the points, good to the square of ``axis_sd_rad`` for the axes. Errors shared by
    both rows, such as an enamel bias or a wrong distance of the whole head, cancel and must not be in the
    covariances.

    Parameters
    ----------
    upper_mm, lower_mm, forward, up
        As for `overjet_overbite`.
    upper_covariance_mm2, lower_covariance_mm2 : array, shape (n, 3, 3) and (m, 3, 3), mm^2
        Covariance of each point; points are taken as independent.
    axis_sd_rad : float
        sd of a small turn of the axes about each of the three axes, rad.

    Raises
    ------
    DegenerateGeometryError
        As for `overjet_overbite`, and when a covariance does not fit its points.
    """
    axes = bite_axes(forward, up)
    step = axes @ (_mean(upper_mm, "upper") - _mean(lower_mm, "lower"))
    covariance = np.zeros((3, 3))
    for points, each in ((upper_mm, upper_covariance_mm2), (lower_mm, lower_covariance_mm2)):
        if np.shape(each) != (len(points), 3, 3):
            raise DegenerateGeometryError(
                f"bite: needed {len(points)} covariances of 3 x 3, one a point, got shape {np.shape(each)}"
            )
        covariance += np.asarray(each).sum(0) / len(points) ** 2
    by_point = np.array([axes[0], -axes[1]])
    forward_step, up_step, side_step = step
    # pitch carries overbite into overjet and back; yaw and roll bring in what separates the rows sideways
    by_turn = np.array([[up_step, side_step, 0.0], [forward_step, 0.0, -side_step]])
    total = by_point @ covariance @ by_point.T + axis_sd_rad**2 * by_turn @ by_turn.T
    sd = np.sqrt(np.diag(total))
    correlation = float(total[0, 1] / (sd[0] * sd[1])) if sd.all() else 0.0
    return BiteMeasure(float(forward_step), float(sd[0]), float(-up_step), float(sd[1]), correlation)


def bite_axes(forward: Array, up: Array) -> Array:
    """Give unit rows forward, up (at right angles to it) and sideways (forward x up), shape (3, 3).

    Raises
    ------
    DegenerateGeometryError
        When either has no length or they are parallel to within 1e-6 rad.
    """
    ahead, above = np.asarray(forward, float), np.asarray(up, float)
    lengths = np.linalg.norm(ahead), np.linalg.norm(above)
    if not all(np.isfinite(length) and length > 0 for length in lengths):
        raise DegenerateGeometryError(
            f"bite axes: needed two directions of some length, got {ahead} and {above}"
        )
    ahead, above = ahead / lengths[0], above / lengths[1]
    above = above - (above @ ahead) * ahead
    left = float(np.linalg.norm(above))
    if left < 1e-6:
        raise DegenerateGeometryError("bite axes: up is parallel to forward; needed two different directions")
    above = above / left
    return np.array([ahead, above, np.cross(ahead, above)])


def bite_labels(
    overjet_mm: float,
    overbite_mm: float,
    *,
    band: BiteBand | None = None,
    lower_crown_mm: float | None = None,
) -> tuple[OverjetLabel, OverbiteLabel]:
    """Name where a bite lies in a band. Edge-to-edge needs both measures small and then replaces both names.

    Parameters
    ----------
    overjet_mm, overbite_mm : float, mm
    band : BiteBand, optional
        The defaults when left out.
    lower_crown_mm : float, optional
        Height of the lower crown, mm; with it a covered share above ``band.deep_share`` is deep too.

    Raises
    ------
    ValueError
        For a measure that is not finite, or a crown of no height.

    Examples
    --------
    >>> [str(label) for label in bite_labels(2.8, 2.9)]
    ['usual', 'usual']
    >>> [str(label) for label in bite_labels(-1.0, 5.0, lower_crown_mm=9.0)]
    ['reverse', 'deep']
    """
    band = band or BiteBand()
    if not (np.isfinite(overjet_mm) and np.isfinite(overbite_mm)):
        raise ValueError(f"bite labels: needed two finite lengths, got {overjet_mm} and {overbite_mm}")
    if abs(overjet_mm) <= band.edge_mm and abs(overbite_mm) <= band.edge_mm:
        return OverjetLabel.EDGE_TO_EDGE, OverbiteLabel.EDGE_TO_EDGE
    share = covered_share(overbite_mm, lower_crown_mm) if lower_crown_mm is not None else 0.0
    low, high = band.usual_overjet_mm
    if overjet_mm < 0:
        overjet = OverjetLabel.REVERSE
    elif overjet_mm >= band.large_overjet_mm:
        overjet = OverjetLabel.LARGE
    elif overjet_mm > high:
        overjet = OverjetLabel.INCREASED
    else:
        overjet = OverjetLabel.USUAL if overjet_mm >= low else OverjetLabel.SMALL
    low, high = band.usual_overbite_mm
    if overbite_mm < 0:
        overbite = OverbiteLabel.OPEN
    elif overbite_mm >= band.deep_overbite_mm or share > band.deep_share:
        overbite = OverbiteLabel.DEEP
    elif overbite_mm > high:
        overbite = OverbiteLabel.INCREASED
    else:
        overbite = OverbiteLabel.USUAL if overbite_mm >= low else OverbiteLabel.SHALLOW
    return overjet, overbite


def covered_share(overbite_mm: float, lower_crown_mm: float) -> float:
    """Give the share of the lower crown that the upper one hides from straight ahead, 0 to 1.

    Examples
    --------
    >>> round(covered_share(2.9, 9.0), 2)
    0.32
    """
    if not lower_crown_mm > 0:
        raise ValueError(f"covered share: needed a crown height above 0 mm, got {lower_crown_mm}")
    return float(np.clip(overbite_mm / lower_crown_mm, 0.0, 1.0))


def _mean(points_mm: Array, row: str) -> Array:
    points = np.asarray(points_mm, float)
    if points.ndim != 2 or points.shape[1:] != (3,) or not len(points):
        raise DegenerateGeometryError(
            f"bite: needed {row} edge points of shape (n, 3), n >= 1, got {points.shape}"
        )
    if not np.isfinite(points).all():
        raise DegenerateGeometryError(
            f"bite: the {row} edge points are not all finite; leave out those not seen"
        )
    return np.asarray(points.mean(0))
