"""Which of four filters smoothed the map? By the edge's profile, and by what the flats show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bite.device.band import Band, block_sums
from bite.device.edge_profile import FilterFit
from bite.device.ties import Ties
from bite.files.forms import FilterName
from bite.geometry.rigid import Array

SURE_SD = 4.0
"""How many sds one filter's fit must beat another's by, and a trace on the flats must stand out by (our
choice: pieces of an edge are few, so that their scatter is itself known to a fifth or so)."""
SEEN_PX = 0.3
"""A fitted blur below this is a sharp step (our choice: bilateral and median filters gave up to 0.1)."""
_LEAST_TIES = 0.09
"""Ties beyond chance that a median must show (our choice)."""
_MOST_OFF = 0.5
"""A winner lies nearer to the readings than half its distance from the next one."""
_LEAST_REACH = 0.75
"""Noise must be correlated as far as the filter reaches, to a quarter."""
_LEAST_NEIGHBOUR = 0.15
"""Neighbours that a filter averaged are at least so alike."""
_LEAST_SWELL = 1.3
"""Noise at the edge over that on the flats, where a filter draws readings to either side."""


@dataclass(frozen=True, slots=True)
class CardEvidence:
    """What one card says of the filter: fits by kind ("none" is the pixel alone), and traces on its flats.

    Parameters
    ----------
    band : Band
    fits : mapping from kind to FilterFit
    correlation_px : float, of the noise about the edge
    ties : Ties, on card and wall
    swell, swell_sd : float, noise variance beside the edge over that of the flats
    neighbour, neighbour_sd : float, correlation of neighbouring readings
    """

    band: Band
    fits: dict[str, FilterFit]
    correlation_px: float
    ties: Ties
    swell: float
    swell_sd: float
    neighbour: float
    neighbour_sd: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The filter's name, or None where it cannot be told, and why in one sentence.

    ``lead_sd`` maps each other candidate to the number of sds by which the best one's profile leads it.
    ``off_share`` is the winner's own distance from the readings over that from the next one, where the edge
    is blurred: how far its shape is only nearly that of the filter.
    """

    filter: FilterName | None
    sharp: bool
    why: str
    lead_sd: dict[str, float]
    off_share: float = 0.0


def which_filter(cards: Sequence[CardEvidence]) -> Verdict:
    """Name the filter from all cards together, or say that it cannot be told.

    Profiles are compared by the difference of their losses, summed over pieces of the edge that are
    independent of each other: its scatter from piece to piece tells what chance would do, whatever the
    readings' own noise is (Vuong 1989, likelihood ratio tests for model selection; from memory). A winner
    must also lie nearer to the readings than half its distance from the next one, or something else is at
    work than any of the four.

    Parameters
    ----------
    cards : sequence of CardEvidence, one or more
    """
    seen = [card.fits["gauss"] for card in cards]
    blurred = any(f.smoothing_px > SEEN_PX and f.smoothing_px**2 > SURE_SD * f.variance_sd for f in seen)
    return _of_blurred(cards) if blurred else _of_sharp(cards)


def lead_sd(cards: Sequence[CardEvidence], better: str, worse: str) -> float:
    """Give by how many sds one kind's profile fits better than another's, all cards together."""
    total, variance = 0.0, 0.0
    for card in cards:
        pieces = block_sums(
            card.band, card.fits[worse].loss - card.fits[better].loss, card.correlation_px
        )
        total += float(pieces.sum())
        variance += len(pieces) * float(np.var(pieces, ddof=1)) if len(pieces) > 1 else np.inf
    # a difference of less than one in the loss is none, however even it is
    return total / float(np.sqrt(variance + 1.0))


def _of_blurred(cards: Sequence[CardEvidence]) -> Verdict:
    kinds: tuple[FilterName, ...] = ("gauss", "box", "edge-preserving")
    best = min(kinds, key=lambda kind: sum(float(card.fits[kind].loss.sum()) for card in cards))
    leads: dict[str, float] = {
        other: lead_sd(cards, best, other) for other in kinds if other != best
    }
    second = min(leads, key=lambda other: leads[other])
    if leads[second] < SURE_SD:
        why = (
            f"{best} fits the edge best, but {second} explains it alike ({leads[second]:.1f} sds between "
            f"them, needed {SURE_SD:g})"
        )
        return Verdict(None, False, why, leads)
    off, apart = _misfit(cards, best), _apart(cards, best, second)
    why = ""
    if off > _MOST_OFF * apart:
        why = (
            f"none of the four explains the edge: {best}, the nearest, is off by {off:.1%} of the step, and "
            f"{second} lies only {apart:.1%} from it"
        )
    elif best == "edge-preserving" and not all(map(_reaches_as_noise, cards)):
        why = (
            "the edge is that of an edge-preserving filter, but the noise on the flats is not correlated as "
            "far as that filter reaches: another one with long tails looks the same"
        )
    elif best != "edge-preserving" and _tied(cards):
        why = f"the edge is that of a {best} filter, but the flats have a median's equal neighbours"
    if why:
        return Verdict(None, False, why, leads, off / apart)
    why = f"its edge profile fits {leads[second]:.0f} sds better than {second}"
    return Verdict(best, False, why, leads, off / apart)


def _reaches_as_noise(card: CardEvidence) -> bool:
    reach = card.fits["edge-preserving"].smoothing_px
    return _LEAST_REACH * reach <= card.correlation_px <= reach / _LEAST_REACH


def _tied(cards: Sequence[CardEvidence]) -> bool:
    """Say whether every card that can tell has a median's equal neighbours."""
    told = [card.ties for card in cards if card.ties.told]
    return bool(told) and all(t.excess > max(_LEAST_TIES, SURE_SD * t.sd) for t in told)


def _of_sharp(cards: Sequence[CardEvidence]) -> Verdict:
    """Tell a median, an edge-preserving filter and none apart: a straight edge comes out sharp behind all."""
    leads = {
        f"{better} over {worse}": lead_sd(cards, better, worse)
        for better, worse in (("median", "none"), ("edge-preserving", "none"), ("edge-preserving", "median"))
    }
    correlated = all(
        c.neighbour > _LEAST_NEIGHBOUR and c.neighbour > SURE_SD * c.neighbour_sd for c in cards
    )
    if not correlated:
        why = (
            "the step is sharp and neighbouring readings err independently: no smoothing is seen, and a "
            "filter that leaves no trace on a straight edge is not ruled out"
        )
        return Verdict(None, True, why, leads)
    told = [card.ties for card in cards if card.ties.told]
    tied = _tied(cards)
    free = bool(told) and all(t.excess < 0.3 * _LEAST_TIES for t in told)
    over = leads["edge-preserving over median"]
    # noise that was correlated before is pulled less than the profile says, so that only a clear lead counts
    if tied and over < SURE_SD and leads["median over none"] > -SURE_SD:
        why = f"the step is sharp, and {told[0].excess:.0%} more neighbours are equal than averaging makes"
        return Verdict("median", True, why, leads)
    swelled = all(c.swell > _LEAST_SWELL and c.swell - 1 > SURE_SD * c.swell_sd for c in cards)
    steep = leads["edge-preserving over none"] > SURE_SD
    if not tied and over > SURE_SD and (steep or (free and swelled)):
        trace = "readings on the edge are drawn to one side" if steep else "the noise swells beside the edge"
        why = f"the step is sharp, the noise on the flats is smoothed, and {trace}"
        return Verdict("edge-preserving", True, why, leads)
    why = (
        "the step is sharp and the noise is correlated: a median, an edge-preserving filter, or noise that "
        "comes so"
    )
    if not told:
        why += (
            "; the map was enlarged, which makes neighbours equal"
            if any(card.ties.repeated_px > 1 for card in cards)
            else "; the storage step hides equal neighbours, which would tell a median"
        )
    return Verdict(None, True, why, leads)


def _misfit(cards: Sequence[CardEvidence], kind: str) -> float:
    """Give the rms by which mean readings in half-pixel bins leave a fit beyond chance, share of the step."""
    found = []
    for card in cards:
        fit, band = card.fits[kind], card.band
        bins = np.floor(fit.at_px / 0.5).astype(int)
        for k in np.unique(bins[np.abs(fit.at_px) < band.half_px / 2]):
            here = bins == k
            if here.sum() < 10:
                continue
            off = np.clip(fit.residual, -4.0, 4.0)[here] * band.sigma[here]
            chance = float(np.var(off)) * max(1.0, 3.5 * card.correlation_px) / here.sum()
            found.append(float(np.mean(off)) ** 2 - chance)
    return float(np.sqrt(max(np.mean(found), 0.0))) if found else np.inf


def _apart(cards: Sequence[CardEvidence], kind: str, other: str) -> float:
    """Give the rms between two fitted profiles in the inner half of the band, share of the step."""
    at: Array = np.linspace(-1, 1, 201)
    off = [
        card.fits[kind].profile(at * card.band.half_px / 2)
        - card.fits[other].profile(at * card.band.half_px / 2)
        for card in cards
    ]
    return float(np.sqrt(np.mean(np.square(off))))
