"""How far repeated clicks of the same corners scatter, corner by corner and kind by kind, px."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Array
from bite.geometry.teeth import CORNERS
from bite.stats.agreement import BlandAltman, Icc, IccForm, bland_altman, dahlberg, icc

Places = Mapping[str, tuple[float, float]]
"""Where one pass has each item, px."""
LEAST_LIMITS = 6
"""Pairs below which limits of agreement are not quoted (our choice: their own interval is then +- 1.8 sd)."""

LEAST_FREEDOM = 6
"""Degrees of freedom below which a scatter is too little known to call a click odd (our choice)."""
LEAST_VARIANCE = 0.05**2
"""Px squared: clicks repeated more closely than a twentieth of a pixel were not made by hand (our choice)."""
NAMED_CHANCE = 0.01
"""Chance of naming any click where all scatter alike (our choice)."""


class Kind(StrEnum):
    """What scatters alike."""

    DISTAL = "distal corners"
    MESIAL = "mesial corners"
    COVERED = "covered points"
    LANDMARKS = "landmarks"


@dataclass(frozen=True, slots=True)
class ItemScatter:
    """One item over all passes that have it, px.

    Parameters
    ----------
    name : str
    kind : Kind
    mean : (x, y)
    sd_x, sd_y : float
    deviations : array, shape (passes, 2), from the mean
    passes : tuple of int, which pass each row of ``deviations`` belongs to
    """

    name: str
    kind: Kind
    mean: tuple[float, float]
    sd_x: float
    sd_y: float
    deviations: Array
    passes: tuple[int, ...]

    @property
    def sd(self) -> float:
        """Sd of one click per axis, x and y pooled."""
        return float(np.sqrt((self.sd_x**2 + self.sd_y**2) / 2))


@dataclass(frozen=True, slots=True)
class KindScatter:
    """Sd of one click per axis over all items of a kind, px, its 95 % interval and degrees of freedom."""

    kind: Kind
    sd: float
    interval: tuple[float, float]
    freedom: int


@dataclass(frozen=True, slots=True)
class PairAgreement:
    """Two passes held against each other, px, first minus second; x and y apart.

    ``limits`` are None with fewer than six shared items; ``icc`` is ICC(2,1), None where it cannot be given.
    """

    first: int
    second: int
    shared: int
    dahlberg: tuple[float, float]
    limits: tuple[BlandAltman, BlandAltman] | None
    icc: tuple[Icc | None, Icc | None]


def kind_of(name: str, covered: bool) -> Kind:
    """Give the kind of an item.

    Examples
    --------
    >>> kind_of("11d", False), kind_of("41m", True), kind_of("subnasale", False)
    (<Kind.DISTAL: 'distal corners'>, <Kind.COVERED: 'covered points'>, <Kind.LANDMARKS: 'landmarks'>)
    """
    if name not in CORNERS:
        return Kind.LANDMARKS
    if covered:
        return Kind.COVERED
    return Kind.DISTAL if name.endswith("d") else Kind.MESIAL


def item_scatter(passes: Sequence[Places], covered: Sequence[frozenset[str]]) -> tuple[ItemScatter, ...]:
    """Give the scatter of each item that at least two passes have in the same way, corners first.

    A corner that some call covered and others seen is two different places: each is compared with its like.

    Parameters
    ----------
    passes : one mapping a pass
    covered : the names that each pass calls covered
    """
    names = list(dict.fromkeys([*CORNERS, *(name for places in passes for name in places)]))
    found = []
    for name in names:
        for hidden_under in (False, True):
            who = tuple(
                number
                for number, (places, under) in enumerate(zip(passes, covered, strict=True))
                if name in places and (name in under) == hidden_under
            )
            at = [passes[number][name] for number in who]
            if len(at) < 2:
                continue
            places_px = np.array(at, float)
            mean = places_px.mean(0)
            sd_x, sd_y = places_px.std(0, ddof=1)
            kind = kind_of(name, hidden_under)
            centre = (float(mean[0]), float(mean[1]))
            found.append(ItemScatter(name, kind, centre, float(sd_x), float(sd_y), places_px - mean, who))
    return tuple(found)


def kind_scatter(items: Sequence[ItemScatter]) -> tuple[KindScatter, ...]:
    """Pool the scatter of items of one kind: the sd of a single click, whoever made it.

    The interval is that of a variance of Gaussian clicks, chi-square with the pooled degrees of freedom.
    """
    from scipy.special import chdtri

    found = []
    for kind in Kind:
        own = [item for item in items if item.kind is kind]
        freedom = sum(2 * (len(item.deviations) - 1) for item in own)
        if not freedom:
            continue
        squares = float(sum((item.deviations**2).sum() for item in own))
        low, high = (float(np.sqrt(squares / chdtri(freedom, tail))) for tail in (0.025, 0.975))
        found.append(KindScatter(kind, float(np.sqrt(squares / freedom)), (low, high), freedom))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class OddClick:
    """A click that lies farther from the others than clicks of its kind do.

    ``of_pass`` is None where only two passes have the item: either may be the odd one. ``off`` in px.
    """

    name: str
    of_pass: int | None
    off: float
    chance: float


def odd_clicks(items: Sequence[ItemScatter]) -> tuple[OddClick, ...]:
    """Name clicks that all others speak against, the least likely first.

    The click's distance from the mean of the other passes is held against the scatter of its kind without
    it: an F test with 2 and f degrees of freedom, its chance multiplied by the number of clicks asked
    (Bonferroni). A kind with fewer than six other degrees of freedom says nothing.
    """
    from scipy.special import fdtrc

    asked = sum(1 if len(item.deviations) == 2 else len(item.deviations) for item in items)
    found = []
    for item in items:
        others = [o for o in items if o.kind is item.kind and o is not item]
        squares = float(sum((o.deviations**2).sum() for o in others))
        freedom = sum(2 * (len(o.deviations) - 1) for o in others)
        count = len(item.deviations)
        for row, who in enumerate(item.passes if count > 2 else (None,)):
            rest = np.delete(item.deviations, row, axis=0)
            left = rest - rest.mean(0)
            own = freedom + 2 * (count - 2)
            if own < LEAST_FREEDOM:
                continue
            variance = (squares + float((left**2).sum())) / own
            off = item.deviations[row] - rest.mean(0)
            ratio = float(off @ off) / 2 / (max(variance, LEAST_VARIANCE) * (1 + 1 / (count - 1)))
            chance = min(1.0, asked * float(fdtrc(2, own, ratio)))
            if chance < NAMED_CHANCE:
                found.append(OddClick(item.name, who, float(np.hypot(*off)), chance))
    worst: dict[str, OddClick] = {}
    for click in sorted(found, key=lambda odd: odd.chance):
        worst.setdefault(click.name, click)
    return tuple(worst.values())


def pair_agreement(passes: Sequence[Places], covered: Sequence[frozenset[str]]) -> tuple[PairAgreement, ...]:
    """Hold each pair of passes against each other over the items they share."""
    found = []
    for i in range(len(passes)):
        for j in range(i + 1, len(passes)):
            shared = [
                name
                for name in passes[i]
                if name in passes[j] and (name in covered[i]) == (name in covered[j])
            ]
            if len(shared) < 2:
                continue
            a = np.array([passes[i][name] for name in shared], float)
            b = np.array([passes[j][name] for name in shared], float)
            errors = (dahlberg(a[:, 0], b[:, 0]), dahlberg(a[:, 1], b[:, 1]))
            limits = None
            if len(shared) >= LEAST_LIMITS:
                limits = (bland_altman(a[:, 0], b[:, 0]), bland_altman(a[:, 1], b[:, 1]))
            both = (_icc(a[:, 0], b[:, 0]), _icc(a[:, 1], b[:, 1]))
            found.append(PairAgreement(i, j, len(shared), errors, limits, both))
    return tuple(found)


def _icc(a: Array, b: Array) -> Icc | None:
    try:
        return icc(np.column_stack([a, b]))[IccForm.RANDOM_SINGLE]
    except DegenerateGeometryError:
        return None
