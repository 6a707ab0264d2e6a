"""What the offsets of a cast share: one shift of all performers, their spread, and who stands apart.

Readings of one performer are pooled first, so that a performer with many frames counts once. Performers are
then pooled with a variance between them (Paule-Mandel; DerSimonian-Laird beside it), the interval by
Hartung and Knapp.

Only **sampling** sds go in. The systematic sd of a frame comes almost whole from one unknown, how much
deeper than its surface the device sees enamel, and that is one number for all frames of a device: it does
not shrink with the number of performers. Averaged in as if it were independent it would make the mean look
better known than it is, and would hide a spread between performers. So it is added once, after pooling,
where the true mean of the offsets is asked for (``mean_sd_mm``), and is left out where the question is
which shift the answers share (``shift``), since a wrong enamel bias is one of the things that shows as such
a shift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from bite.stats.pooling import Pooled, Spread, pool

FEWEST_PERFORMERS = 3
"""With fewer, one odd mouth and a shift of all cannot be told apart (our choice)."""
SMALL_SPREAD = 0.5
"""A spread up to this share of the shift is small: 97.7 % of performers stand on its side (our choice)."""
RELEVANT_SHARE = 0.5
"""A shift beyond this share of the tolerance matters: it eats half of what may be off (our choice)."""
OUTLIER_CHANCE = 0.08
"""Chance of naming anybody in a cast without outliers, shared among its performers (Bonferroni)."""
LEFT_OUT_CHANCE = 0.01
"""The same for leaving somebody out of the mean (our choice)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One frame's offset, mm, forward positive, from the rig's dial 0 on."""

    performer: str
    value_mm: float
    sampling_sd_mm: float
    systematic_sd_mm: float


@dataclass(frozen=True, slots=True)
class PerformerMean:
    """One performer's readings as one value; ``disagree_p`` is None with a single frame."""

    performer: str
    frames: int
    value_mm: float
    sd_mm: float
    disagree_p: float | None


class Sharing(StrEnum):
    """What a cast's offsets share."""

    UNKNOWN = "too few performers to tell"
    NONE = "no common shift"
    SMALL = "a common shift too small to matter"
    MIXED = "a common shift, and performers who differ"
    COMMON = "the same shift in every performer"


@dataclass(frozen=True, slots=True)
class Outlier:
    """A performer that all others speak against: how far off, in mm and in sds of the prediction.

    ``left_out``: the mean of the others was taken without this performer.
    """

    performer: str
    off_mm: float
    off_sd: float
    left_out: bool = False


@dataclass(frozen=True, slots=True)
class SharedShift:
    """The pooled answer for one device.

    Parameters
    ----------
    performers : tuple of PerformerMean, by name
    shift : Pooled or None
        Without those left out; Paule-Mandel with Hartung-Knapp, or plain for one performer; None without
        readings.
    spread_dl_mm : float or None, the spread after DerSimonian and Laird
    systematic_sd_mm : float, the part common to all frames
    outliers : tuple of Outlier, the farthest first
    with_outliers : Pooled or None, the same with everybody in; None where nobody was left out
    sharing : Sharing
    """

    performers: tuple[PerformerMean, ...]
    shift: Pooled | None
    spread_dl_mm: float | None
    systematic_sd_mm: float
    outliers: tuple[Outlier, ...]
    with_outliers: Pooled | None
    sharing: Sharing

    @property
    def mean_sd_mm(self) -> float | None:
        """Sd of the true mean offset: sampling and spread, with the systematic part added once."""
        return None if self.shift is None else float(np.hypot(self.shift.se, self.systematic_sd_mm))


def shared_shift(readings: Sequence[Reading], *, tolerance_mm: float) -> SharedShift:
    """Pool the readings of one device.

    Examples
    --------
    >>> cast = [Reading(f"p{k}", -0.8 + 0.02 * k, 0.1, 0.2) for k in range(6)]
    >>> found = shared_shift(cast, tolerance_mm=0.5)
    >>> str(found.sharing), round(found.shift.mean, 2), round(found.mean_sd_mm, 2)
    ('the same shift in every performer', -0.75, 0.2)
    """
    means = performer_means(readings)
    if not means:
        return SharedShift((), None, None, 0.0, (), None, Sharing.UNKNOWN)
    outliers = find_outliers(means)
    names = {outlier.performer for outlier in outliers if outlier.left_out}
    kept = [mean for mean in means if mean.performer not in names]
    shift = _pooled(kept)
    dl = None
    if len(kept) > 1:
        dl = pool(*_columns(kept), spread=Spread.DERSIMONIAN_LAIRD).tau
    return SharedShift(
        performers=means,
        shift=shift,
        spread_dl_mm=dl,
        systematic_sd_mm=float(np.mean([reading.systematic_sd_mm for reading in readings])),
        outliers=outliers,
        with_outliers=_pooled(means) if names else None,
        sharing=_sharing(shift, tolerance_mm),
    )


def performer_means(readings: Sequence[Reading]) -> tuple[PerformerMean, ...]:
    """Pool each performer's readings, by name."""
    found = []
    for name in sorted({reading.performer for reading in readings}):
        own = [reading for reading in readings if reading.performer == name]
        values = np.array([reading.value_mm for reading in own])
        pooled = pool(values, np.array([reading.sampling_sd_mm for reading in own]))
        found.append(PerformerMean(name, len(own), pooled.mean, pooled.se, pooled.q_p))
    return tuple(found)


def find_outliers(means: Sequence[PerformerMean]) -> tuple[Outlier, ...]:
    """Name performers whom all others speak against, by leaving one out.

    Each performer is held against what the others predict for one more of their kind (their mean, its error,
    the spread between them, the performer's own sd), by Student's t with k - 2 degrees of freedom. The
    farthest one beyond the limit is named and taken out, and the rest is looked at again, so that a far one
    does not hide a nearer one; at most a quarter is named, since beyond that there is no rule to be out of.
    Two that stand off alike can still hide each other: each widens the spread that the other is held to.

    A named performer is left out of the mean only where the evidence is stronger still: taking out
    everybody who is merely suspicious would make the interval of the mean too short.
    """
    from scipy.special import stdtr, stdtrit

    left = list(means)
    named: list[Outlier] = []
    while len(left) >= FEWEST_PERFORMERS + 1 and len(named) < max(1, len(means) // 4):
        limit = float(stdtrit(len(left) - 2, 1 - OUTLIER_CHANCE / (2 * len(left))))
        found = [_held_against(left, k) for k in range(len(left))]
        worst = max(range(len(left)), key=lambda k: abs(found[k].off_sd))
        if abs(found[worst].off_sd) <= limit:
            break
        chance = 2 * len(left) * float(stdtr(len(left) - 2, -abs(found[worst].off_sd)))
        named.append(replace(found[worst], left_out=chance < LEFT_OUT_CHANCE))
        del left[worst]
    return tuple(sorted(named, key=lambda outlier: -abs(outlier.off_sd)))


def _held_against(means: Sequence[PerformerMean], k: int) -> Outlier:
    one, others = means[k], [mean for i, mean in enumerate(means) if i != k]
    rest = pool(*_columns(others))
    off = one.value_mm - rest.mean
    sd = float(np.sqrt((rest.tau or 0.0) ** 2 + rest.se**2 + one.sd_mm**2))
    return Outlier(one.performer, off, off / sd)


def _pooled(means: Sequence[PerformerMean]) -> Pooled:
    return pool(*_columns(means), hartung_knapp=len(means) > 1)


def _columns(means: Sequence[PerformerMean]) -> tuple[np.ndarray, np.ndarray]:
    return np.array([mean.value_mm for mean in means]), np.array([mean.sd_mm for mean in means])


def _sharing(shift: Pooled, tolerance_mm: float) -> Sharing:
    if shift.k < FEWEST_PERFORMERS or shift.tau is None:
        return Sharing.UNKNOWN
    low, high = shift.interval
    if low <= 0 <= high:
        return Sharing.NONE
    if abs(shift.mean) <= RELEVANT_SHARE * tolerance_mm:
        return Sharing.SMALL
    return Sharing.COMMON if shift.tau <= SMALL_SPREAD * abs(shift.mean) else Sharing.MIXED


@dataclass(frozen=True, slots=True)
class LearnedBias:
    """An enamel bias that would take a common shift away, mm, with its sd."""

    value_mm: float
    sd_mm: float


def learned_bias(shift: Pooled, *, assumed_mm: float, per_enamel_mm: float) -> LearnedBias:
    """Turn a common shift into the enamel bias that explains it.

    With b the bias that was assumed, an offset comes out as t(b) = t_true + k (b - b_true), where k =
    ``per_enamel_mm`` (near +1) is how far the offset moves forward for each mm that enamel is assumed
    deeper. If the true offsets of a cast scatter about 0, their pooled mean m estimates k (b - b_true), so
    b_true = b - m / k. A sensor that sees enamel deeper than assumed makes offsets negative (too far back),
    and m < 0 raises the bias. The sd is that of the mean, spread between performers included, over k.

    Examples
    --------
    >>> cast = [Reading(f"p{k}", -0.8 + 0.02 * k, 0.1, 0.2) for k in range(6)]
    >>> found = learned_bias(shared_shift(cast, tolerance_mm=0.5).shift, assumed_mm=0.15, per_enamel_mm=0.92)
    >>> round(found.value_mm, 2)
    0.97
    """
    return LearnedBias(assumed_mm - shift.mean / per_enamel_mm, shift.se / abs(per_enamel_mm))
