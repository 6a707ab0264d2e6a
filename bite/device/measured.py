"""What the cards say of their sensor: every step in its order, and the result that is told and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bite.device.band import Band, band_of, band_width, noise_beside
from bite.device.card import LEAST_STEP_NOISES, FoundCard, check_bent, check_phases, find_card
from bite.device.edge_profile import FilterFit, best_edge_preserving, best_median, fit_linear
from bite.device.flat_noise import FlatNoise, flat_noise, grain_mm
from bite.device.noise_law import NoiseLaw, noise_law
from bite.device.size import pooled, smoothing_of_card
from bite.device.ties import ties_of
from bite.device.which_filter import CardEvidence, Verdict, which_filter
from bite.errors import InputError
from bite.files.bundle import BiteFrame
from bite.files.frame import MapEntry
from bite.files.source import sha256_of
from bite.geometry.rigid import Array

_FLYING_SHARE, _FLYING_SD = 0.08, 6.0
"""A reading in the gap between card and wall, off the profile by 8 % of the step and 6 of its sds, flies."""


@dataclass(frozen=True, slots=True)
class CardMeasured:
    """One card file's measurement.

    Parameters
    ----------
    name : str
    path : Path
    found : FoundCard
    evidence : CardEvidence
    card, wall : FlatNoise
    step_mm : float, depth step between card and wall at the edge
    storage_mm : float, storage step at the card, 0 for a file without one
    grain_mm : float or None, step between the values that the card's readings take
    smoothing_px, smoothing_sd_px : float
    flying_share : float, readings about the edge that lie between card and wall and no blur explains
    wild_share : float, readings on the flats beyond 8 noise sds
    residual_mm : array, shape (h, w), card's readings less its plane, NaN elsewhere
    """

    name: str
    path: Path
    found: FoundCard
    evidence: CardEvidence
    card: FlatNoise
    wall: FlatNoise
    step_mm: float
    storage_mm: float
    grain_mm: float | None
    smoothing_px: float
    smoothing_sd_px: float
    flying_share: float
    wild_share: float
    residual_mm: Array


@dataclass(frozen=True, slots=True)
class DeviceMeasured:
    """A device as its cards show it.

    ``smoothing_px`` is the sd of the filter's window in depth pixels, ``smoothing_sd_px`` how well it is
    known; ``apart`` says that the cards' own values differ by more than their sds. The noise that stands for
    the device is that of the nearest card.
    """

    device: str
    cards: tuple[CardMeasured, ...]
    verdict: Verdict
    smoothing_px: float
    smoothing_sd_px: float
    apart: bool
    nearest: CardMeasured
    law: NoiseLaw | None

    @property
    def best(self) -> str:
        """The kind of fit that stands for the device in pictures and figures."""
        return self.verdict.filter or ("none" if self.verdict.sharp else "gauss")


def measure_device(frames: Sequence[BiteFrame]) -> DeviceMeasured:
    """Measure a device from one or more card files.

    Parameters
    ----------
    frames : sequence of BiteFrame, cards of one device

    Raises
    ------
    InputError
        When a card cannot be measured, or the cards are of different devices.
    """
    first = frames[0]
    for frame in frames[1:]:
        if frame.file.device != first.file.device:
            what = f"device {frame.file.device!r}, but {first.file.path.name} is of {first.file.device!r}"
            raise InputError(frame.file.path, "device", what, "measure one device at a time")
    _check_different(frames)
    seen = [_evidence(frame) for frame in frames]
    verdict = which_filter([card.evidence for card in seen])
    sized = [_sized(card, verdict) for card in seen]
    value, sd, apart = pooled([s[0] for s in sized], [s[1] for s in sized])
    best = verdict.filter or ("none" if verdict.sharp else "gauss")
    cards = tuple(
        CardMeasured(
            card.frame.name,
            card.frame.file.path,
            card.found,
            card.evidence,
            card.card,
            card.wall,
            card.evidence.band.step_mm,
            card.storage_mm,
            card.grain_mm,
            own[0],
            own[1],
            _flying(card.evidence.band, card.evidence.fits[best]),
            _wild(card.card, card.wall),
            np.where(
                card.found.card_flat, card.depth_mm - card.found.card.depth_mm(card.depth_mm.shape), np.nan
            ),
        )
        for card, own in zip(seen, sized, strict=True)
    )
    flats = [flat for card in cards for flat in (card.card, card.wall)]
    nearest = min(cards, key=lambda card: card.card.distance_mm)
    return DeviceMeasured(
        first.file.device, cards, verdict, value, sd, apart, nearest, noise_law(flats)
    )


@dataclass(frozen=True, slots=True)
class _Seen:
    frame: BiteFrame
    depth_mm: Array
    found: FoundCard
    card: FlatNoise
    wall: FlatNoise
    storage_mm: float
    grain_mm: float | None
    evidence: CardEvidence


def _evidence(frame: BiteFrame) -> _Seen:
    path = frame.file.path
    if frame.depth_map is None:
        what = "names no depth map, needed [depth] with a map"
        raise InputError(path, "[depth]", what, "name the card's depth map, with its unit and view or camera")
    depth = frame.depth_map.depth_mm
    margin = 10.0
    found = find_card(depth, path, margin_px=margin)
    for last in (False, True):
        storage = _storage_mm(frame, found.card.middle_mm)
        card = flat_noise(depth, found.card_flat, found.card, storage)
        wall = flat_noise(depth, found.wall_flat, found.wall, _storage_mm(frame, found.wall.middle_mm))
        _check(path, found, card, wall)
        correlation = max(card.correlation_px, wall.correlation_px)
        wide = band_of(depth, found, (card, wall), half_px=14.0)
        _check_edge(path, wide)
        gauss = fit_linear(wide, "gauss", correlation)
        needed = 4 * gauss.smoothing_px + 2
        if last or needed <= margin:
            break
        # a wide blur reaches onto what was taken for flat
        found = find_card(depth, path, margin_px=min(needed, 30.0))
    band = band_of(depth, found, (card, wall), half_px=band_width(gauss.smoothing_px))
    none = fit_linear(band, "gauss", correlation, fixed_px=0.0)
    gauss = fit_linear(band, "gauss", correlation)
    check_phases(gauss.at_px, found.line.angle_deg, path)
    fits = {
        "gauss": gauss,
        "box": fit_linear(band, "box", correlation),
        "none": none,
        "median": best_median(band, (card, wall), gauss),
        "edge-preserving": best_edge_preserving(band, correlation, gauss),
    }
    ties = [
        ties_of(depth, flat, _storage_mm(frame, plane.middle_mm))
        for flat, plane in ((found.card_flat, found.card), (found.wall_flat, found.wall))
    ]
    both = next((t for t in ties if t.told), ties[0])
    swell, swell_sd = noise_beside(band, none.at_px, none.residual, correlation)
    evidence = CardEvidence(
        band, fits, correlation, both, swell, swell_sd, card.neighbour, card.neighbour_sd
    )
    return _Seen(
        frame, depth, found, card, wall, storage, grain_mm(depth, found.card_flat), evidence
    )


def _check_different(frames: Sequence[BiteFrame]) -> None:
    """Refuse one map given twice, which would look like agreement."""
    seen: dict[str, BiteFrame] = {}
    for frame in frames:
        if frame.depth_map is None:
            continue
        key = sha256_of(frame.depth_map.depth_mm.tobytes())
        if key in seen:
            what = f"its depth map is also that of {seen[key].file.path.name}: it would count twice"
            raise InputError(frame.file.path, "[depth] map", what, "name only one of the two")
        seen[key] = frame


def _storage_mm(frame: BiteFrame, distance_mm: float) -> float:
    """Give the storage step at a distance: a map of inverse distance steps by the distance squared."""
    assert frame.depth_map is not None
    depth = frame.depth_map
    if isinstance(frame.file.depth, MapEntry) and frame.file.depth.inverse_per_m is not None:
        return depth.step_mm * (distance_mm / float(np.nanmedian(depth.depth_mm))) ** 2
    return depth.step_mm


def _check(path: Path, found: FoundCard, card: FlatNoise, wall: FlatNoise) -> None:
    for name, flat in (("card", card), ("wall", wall)):
        check_bent(path, name, flat.flatness_mm, flat.distance_mm)
    x, y = _middle_of(found)
    near, far = found.card.at_mm(x, y), found.wall.at_mm(x, y)
    step, noise = far - near, max(card.noise_mm, wall.noise_mm)
    if step < LEAST_STEP_NOISES * noise:
        what = (
            f"the step from card to wall is {step:.1f} mm, {step / max(noise, 1e-9):.0f} times the noise of "
            f"{noise:.2g} mm, needed {LEAST_STEP_NOISES:.0f} times"
        )
        raise InputError(path, "[depth] map", what, "hold the card farther from the wall")


def _middle_of(found: FoundCard) -> tuple[float, float]:
    line, middle = found.line, 0.5 * sum(found.line.span)
    return (
        line.normal[0] * line.offset_px - line.normal[1] * middle,
        line.normal[1] * line.offset_px + line.normal[0] * middle,
    )


def _check_edge(path: Path, band: Band) -> None:
    """Refuse an edge where most readings are missing."""
    within = np.abs(band.distance_px) < 2
    needed = 4 * band.length_px
    if not within.any() or within.sum() < 0.5 * needed:
        share = 1 - within.sum() / max(needed, 1)
        what = f"{share:.0%} of the readings within 2 px of the card's edge are missing, needed at most 50 %"
        mend = "light the wall beside the card, or hold it so that no shadow falls along that edge"
        raise InputError(path, "[depth] map", what, mend)


def _sized(card: _Seen, verdict: Verdict) -> tuple[float, float]:
    ties = (card.depth_mm, card.found.card_flat, card.storage_mm)
    return smoothing_of_card(card.evidence, verdict, card.card, card.wall, ties)


def _flying(band: Band, fit: FilterFit) -> float:
    """Give the share of readings beside the edge, not on it, that lie where no blur puts them."""
    beside = np.abs(fit.at_px) > 1
    off = np.abs(fit.residual) * band.sigma
    flying = beside & (off > np.maximum(_FLYING_SD * band.sigma, _FLYING_SHARE))
    flying &= (band.share > 0.05) & (band.share < 0.95)
    return float(flying.sum() / max(beside.sum(), 1))


def _wild(card: FlatNoise, wall: FlatNoise) -> float:
    found = card.wild_share * card.count + wall.wild_share * wall.count
    return found / max(card.count + wall.count, 1)
