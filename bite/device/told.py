"""A measured device as text for a terminal, as a device table, and as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill

from bite.check.result import Json
from bite.device.flat_noise import FlatNoise
from bite.device.measured import CardMeasured, DeviceMeasured
from bite.device.which_filter import SEEN_PX

FORMAT = "bite-device 1"
_NAMES = {"gauss": "Gaussian", "box": "box", "median": "median", "edge-preserving": "edge-preserving"}


def headline(found: DeviceMeasured) -> str:
    """Give the finding in one sentence."""
    size = f"{found.smoothing_px:.2f} +- {found.smoothing_sd_px:.2f} px"
    noise = (
        f"noise {found.nearest.card.noise_mm:.2g} mm at {found.nearest.card.distance_mm:.0f} mm"
    )
    name = found.verdict.filter
    if name is not None:
        window = "window sd" if name in ("median", "edge-preserving") else "sd"
        return f"it smooths with a {_NAMES[name]} filter, {window} {size}; {noise}"
    if found.verdict.sharp and found.smoothing_px < SEEN_PX:
        return f"its step is sharp ({size}), and the kind of filter cannot be told; {noise}"
    return f"it smooths by {size}, and the kind of filter cannot be told; {noise}"


def note(found: DeviceMeasured) -> str:
    """Say what the table was measured from, in one line."""
    cards = ", ".join(f"{card.path.name} at {card.card.distance_mm:.0f} mm" for card in found.cards)
    return (
        f"measured from {cards}; noise is that at {found.nearest.card.distance_mm:.0f} mm; "
        "no date, so that the same maps give the same bytes"
    )


def toml_lines(found: DeviceMeasured) -> tuple[str, ...]:
    """Give the lines of the device's table; the enamel bias is not among them, since a card has no enamel."""
    lines = [
        f"smoothing_px = {found.smoothing_px:.3f}",
        f"smoothing_sd_px = {found.smoothing_sd_px:.3f}",
        f"noise_mm = {max(found.nearest.card.noise_mm, 1e-4):.4f}",
        f"correlation_px = {found.nearest.card.correlation_px:.2f}",
    ]
    if found.verdict.filter is not None:
        lines.append(f'filter = "{found.verdict.filter}"')
    return tuple(lines)


def device_text(found: DeviceMeasured) -> str:
    """Give the measurement as text for a terminal, the finding first."""
    return "\n".join(_rows(found)) + "\n"


def _rows(found: DeviceMeasured) -> Iterator[str]:
    yield _wrapped(f"{found.device}: {headline(found)}", "")
    answer = found.verdict.filter or "cannot tell"
    yield _wrapped(f"filter       {answer}: {found.verdict.why}")
    if found.apart:
        each = ", ".join(f"{c.smoothing_px:.2f} at {c.card.distance_mm:.0f} mm" for c in found.cards)
        yield _wrapped(f"CAUTION      the cards' blurs differ by more than their sds ({each}); sd widened")
    for card in found.cards:
        yield _wrapped(_card_row(card))
        for name, flat in (("card", card.card), ("wall", card.wall)):
            yield _wrapped(_flat_row(name, flat))
    yield _wrapped(f"noise law    {_law_told(found)}")
    yield _wrapped(
        "enamel bias  not measured: a card has no enamel. "
        "bite cast CAST --learn-device FILE learns it from teeth"
    )


def _card_row(card: CardMeasured) -> str:
    storage = f"{card.storage_mm:.3g} mm" if card.storage_mm > 0 else "none"
    grain = card.grain_mm
    if grain is not None and abs(grain - card.storage_mm) > 0.2 * max(card.storage_mm, 1e-9):
        storage += f" (readings lie {grain:.3g} mm apart)"
    return (
        f"{card.name}: step {card.step_mm:.0f} mm, edge {card.found.line.angle_deg:.1f} degrees off the "
        f"grid, {card.evidence.band.length_px:.0f} px long; storage step {storage}; flying pixels "
        f"{card.flying_share:.1%} about the edge, wild readings {card.wild_share:.2%} of the flats"
    )


def _flat_row(name: str, flat: FlatNoise) -> str:
    length = (
        f"correlated over {flat.correlation_px:.2f} +- {flat.correlation_sd_px:.2f} px"
        if flat.correlation_px > 0
        else f"not correlated (under {flat.correlation_sd_px:.2f} px)"
    )
    return (
        f"  {name} {flat.distance_mm:.0f} mm: noise {flat.noise_mm:.3f} +- {flat.noise_sd_mm:.3f} mm, "
        f"{length}; flat to {flat.flatness_mm:.2f} mm rms ({flat.flatness_mm / flat.distance_mm:.2%})"
    )


def _law_told(found: DeviceMeasured) -> str:
    law = found.law
    if law is None:
        return "not measured: card and wall are at one distance; add a card at another"
    if not law.grows:
        return f"no growth seen between {law.nearest_mm:.0f} and {law.farthest_mm:.0f} mm"
    checked = (
        "two distances for two numbers, so nothing checks it: add a card at another"
        if law.chi_square is None
        else f"reduced chi-square {law.chi_square:.1f}"
        + (", so this law does not hold" if law.chi_square > 4 else "")
    )
    return (
        f"{law.a_mm:.3f} + {law.b_mm_per_m2:.3f} z^2 mm (z in m; +- {law.a_sd_mm:.3f}, "
        f"{law.b_sd_mm_per_m2:.3f}) from {law.nearest_mm:.0f} to {law.farthest_mm:.0f} mm; {checked}"
    )


def _wrapped(text: str, indent: str = "  ") -> str:
    return fill(text, 110, initial_indent=indent, subsequent_indent=indent + "    ", break_long_words=False)


def device_mapping(found: DeviceMeasured, hashes: dict[str, str], version: str) -> dict[str, Json]:
    """Give the content of the JSON answer.

    Parameters
    ----------
    found : DeviceMeasured
    hashes : mapping from input file to "sha256:..."
    version : str
    """
    law = found.law
    return {
        "format": FORMAT,
        "device": found.device,
        "headline": headline(found),
        "filter": found.verdict.filter,
        "filter_why": found.verdict.why,
        "filter_lead_sd": {k: round(v, 3) for k, v in found.verdict.lead_sd.items()},
        "smoothing_px": found.smoothing_px,
        "smoothing_sd_px": found.smoothing_sd_px,
        "smoothing_differs": found.apart,
        "noise_mm": found.nearest.card.noise_mm,
        "noise_sd_mm": found.nearest.card.noise_sd_mm,
        "correlation_px": found.nearest.card.correlation_px,
        "correlation_sd_px": found.nearest.card.correlation_sd_px,
        "noise_law": None
        if law is None
        else {
            "a_mm": law.a_mm,
            "a_sd_mm": law.a_sd_mm,
            "b_mm_per_m2": law.b_mm_per_m2,
            "b_sd_mm_per_m2": law.b_sd_mm_per_m2,
            "distances": law.points,
            "reduced_chi_square": law.chi_square,
            "grows": law.grows,
        },
        "enamel_bias_mm": None,
        "cards": [_card_mapping(card) for card in found.cards],
        "lines": list(toml_lines(found)),
        "inputs": {name: hashes[name] for name in sorted(hashes)},
        "version": version,
    }


def _card_mapping(card: CardMeasured) -> Json:
    return {
        "name": card.name,
        "step_mm": card.step_mm,
        "edge_angle_deg": card.found.line.angle_deg,
        "edge_length_px": card.evidence.band.length_px,
        "smoothing_px": card.smoothing_px,
        "smoothing_sd_px": card.smoothing_sd_px,
        "storage_step_mm": card.storage_mm,
        "grain_mm": card.grain_mm,
        "flying_share": card.flying_share,
        "wild_share": card.wild_share,
        "equal_neighbours_beyond_chance": card.evidence.ties.excess if card.evidence.ties.told else None,
        "card": _flat_mapping(card.card),
        "wall": _flat_mapping(card.wall),
    }


def _flat_mapping(flat: FlatNoise) -> Json:
    return {
        "distance_mm": flat.distance_mm,
        "noise_mm": flat.noise_mm,
        "noise_sd_mm": flat.noise_sd_mm,
        "correlation_px": flat.correlation_px,
        "correlation_sd_px": flat.correlation_sd_px,
        "flatness_mm": flat.flatness_mm,
        "flatness_share": flat.flatness_mm / flat.distance_mm,
        "readings": flat.count,
    }
