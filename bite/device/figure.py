"""A measured device as a picture: the edge's profile, the flat's residuals, noise against distance."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from bite.device.band import binned
from bite.device.measured import DeviceMeasured
from bite.device.told import headline
from bite.plots.style import (
    AFTER,
    BEFORE,
    INK,
    MEASURED,
    NEUTRAL,
    SMALL_PT,
    TITLE_PT,
    blank_figure,
    house_style,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BIN_PX = 0.25
"""Points of the profile are averaged over a quarter of a pixel, as the fit sees them."""
_LOOKS = {
    "gauss": (BEFORE.colour, "-"),
    "box": (AFTER.colour, (0, (5, 2))),
    "median": ("#CC79A7", (0, (1, 1.2))),
    "edge-preserving": ("#56B4E9", (0, (6, 1.5, 1, 1.5))),
}
_WORDS = {
    "gauss": "___  Gaussian",
    "box": "_ _  box",
    "median": "....  median",
    "edge-preserving": "_ . _  edge-preserving",
}
_MOST_POINTS = 4000
"""More points than this cannot be told apart on paper."""


def device_figure(found: DeviceMeasured) -> Figure:
    """Draw all panels under the finding."""
    with house_style():
        figure = blank_figure(8.0, 6.6)
        title = "\n".join(wrap(f"{found.device}: {headline(found)}", 80))
        figure.text(
            0.02, 0.985, title, va="top", fontsize=TITLE_PT, fontweight="bold", color=INK, linespacing=1.3
        )
        _draw_profile(figure.add_axes((0.08, 0.545, 0.4, 0.32)), found)
        _draw_off(figure.add_axes((0.575, 0.545, 0.4, 0.32)), found)
        _draw_flat(figure.add_axes((0.08, 0.07, 0.4, 0.34)), found)
        _draw_noise(figure.add_axes((0.575, 0.07, 0.4, 0.34)), found)
    return figure


def panel_figures(found: DeviceMeasured) -> dict[str, Figure]:
    """Draw each panel as a figure of its own, by name."""
    panels = {"edge": _draw_profile, "edge-off": _draw_off, "flat": _draw_flat, "noise": _draw_noise}
    figures = {}
    with house_style():
        for name, draw in panels.items():
            figures[name] = blank_figure(5.0, 3.6)
            draw(figures[name].add_axes((0.14, 0.14, 0.8, 0.74)), found)
    return figures


def _half(found: DeviceMeasured) -> float:
    return float(np.clip(3.5 * max(found.smoothing_px, 0.6) + 1.5, 3.5, found.nearest.evidence.band.half_px))


def _draw_profile(axes: Axes, found: DeviceMeasured) -> None:
    evidence, half = found.nearest.evidence, _half(found)
    fit = evidence.fits[found.best]
    every = max(1, len(fit.at_px) // _MOST_POINTS)
    axes.plot(fit.at_px[::every], evidence.band.share[::every], ".", ms=1.6, color=NEUTRAL, zorder=1)
    at, mean = binned(fit.at_px, evidence.band.share, _BIN_PX, half)
    axes.plot(at, mean, MEASURED.marker, ms=3.5, mfc="none", mew=1.0, color=MEASURED.colour, zorder=5)
    x = np.linspace(-half, half, 601)
    words = [("o  measured, mean of each quarter pixel", MEASURED.colour)]
    for kind, (colour, style) in _LOOKS.items():
        best = kind == found.verdict.filter
        axes.plot(
            x, evidence.fits[kind].profile(x), ls=style, lw=2.2 if best else 1.1, color=colour, zorder=4
        )
        words.append((_WORDS[kind] + (" (told)" if best else ""), colour))
    for k, (word, colour) in enumerate(words):
        axes.text(0.02, 0.97 - 0.08 * k, word, transform=axes.transAxes, va="top", color=colour,
                  fontsize=SMALL_PT, fontweight="bold")  # fmt: skip
    axes.set(
        xlim=(-half, half),
        ylim=(-0.12, 1.12),
        xlabel="distance from the card's edge, depth px",
        ylabel="share of the step to the wall",
    )
    told = found.verdict.filter or "cannot be told"
    axes.set_title(f"Edge of {found.nearest.name}; filter: {told}")


def _draw_off(axes: Axes, found: DeviceMeasured) -> None:
    """Draw what each filter's fit leaves of the mean profile, which is too steep to show it."""
    evidence, half = found.nearest.evidence, _half(found)
    largest = 0.02
    for kind, (colour, style) in _LOOKS.items():
        fit = evidence.fits[kind]
        off = np.clip(fit.residual * evidence.band.sigma, -0.3, 0.3)
        at, mean = binned(fit.at_px, off, 0.5, half)
        best = kind == found.verdict.filter
        axes.plot(at, 100 * mean, ls=style, lw=2.2 if best else 1.1, color=colour, zorder=5 if best else 3)
        if kind == found.best or kind in ("gauss", "box"):
            largest = max(largest, float(np.abs(mean).max()))
    axes.axhline(0, color=NEUTRAL, lw=0.7)
    axes.set(
        xlim=(-half, half),
        ylim=(-130 * largest, 130 * largest),
        xlabel="distance from the card's edge, depth px",
        ylabel="measured - fitted, % of the step",
    )
    axes.set_title("What each filter's fit leaves: least is best")


def _draw_flat(axes: Axes, found: DeviceMeasured) -> None:
    card = found.nearest
    reach = 3 * card.card.noise_mm + 2 * card.card.flatness_mm
    rows, columns = np.nonzero(np.isfinite(card.residual_mm))
    box = (slice(rows.min(), rows.max() + 1), slice(columns.min(), columns.max() + 1))
    extent = (columns.min() - 0.5, columns.max() + 0.5, rows.max() + 0.5, rows.min() - 0.5)
    shown = axes.imshow(
        card.residual_mm[box], cmap="cividis", vmin=-reach, vmax=reach, extent=extent, interpolation="nearest"
    )
    # beside the picture wherever its shape leaves it, which is at the panel's left
    axes.set_anchor("W")
    bar = axes.figure.colorbar(shown, cax=axes.inset_axes((1.04, 0.0, 0.06, 1.0)))
    bar.set_label("measured - plane, mm")
    axes.set(xlabel="x, depth px", ylabel="y, depth px")
    axes.set_title(f"Flat: noise {card.card.noise_mm:.2f} mm, bent {card.card.flatness_mm:.2f} mm rms")


def _draw_noise(axes: Axes, found: DeviceMeasured) -> None:
    largest = 0.0
    for card in found.cards:
        for name, flat, marker in (("card", card.card, "o"), ("wall", card.wall, "s")):
            axes.errorbar(
                flat.distance_mm,
                flat.noise_mm,
                1.96 * flat.noise_sd_mm,
                fmt=marker,
                ms=6,
                mfc="none",
                mew=1.4,
                color=MEASURED.colour,
                capsize=3,
            )
            axes.annotate(
                f"{name}, {card.name}", (flat.distance_mm, flat.noise_mm), (7, -10), fontsize=SMALL_PT,
                textcoords="offset points", color=INK,
            )  # fmt: skip
            largest = max(largest, flat.noise_mm + 1.96 * flat.noise_sd_mm)
    distances = [flat.distance_mm for card in found.cards for flat in (card.card, card.wall)]
    low, high = min(distances), max(distances)
    margin = 0.12 * (high - low) + 20
    law = found.law
    if law is not None:
        z = np.linspace(low, high, 100)
        axes.plot(z, law.a_mm + law.b_mm_per_m2 * (z / 1000) ** 2, color=NEUTRAL, lw=1.2, ls=(0, (4, 2)))
    axes.set(
        xlim=(low - margin, high + 2.2 * margin),
        ylim=(0, 1.25 * largest),
        xlabel="distance, mm",
        ylabel="noise sd of a reading, mm (bars: 95 %)",
    )
    known = law is not None and law.grows
    axes.set_title(
        f"Noise: {law.a_mm:.2f} + {law.b_mm_per_m2:.2f} z² mm, z in m"
        if law is not None and known
        else "Noise against distance"
    )
