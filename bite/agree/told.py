"""Repeated clicks as text and as a picture: how far they scatter, and which sigma that suggests."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bite.agree.repeat_clicks import (
    LEAST_LIMITS,
    ItemScatter,
    Kind,
    KindScatter,
    OddClick,
    PairAgreement,
)
from bite.plots.style import INK, MEASURED, NEUTRAL, SMALL_PT, TEXT_PT, TITLE_PT, blank_figure, house_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True)
class Agreement:
    """All that was found of repeated clicks.

    Parameters
    ----------
    names : tuple of str, one a pass
    items, kinds, pairs : what was computed
    px_per_mm : float or None
    disputes : tuple of str, sentences on corners whose state differs between passes
    odd : tuple of OddClick
    """

    names: tuple[str, ...]
    items: tuple[ItemScatter, ...]
    kinds: tuple[KindScatter, ...]
    pairs: tuple[PairAgreement, ...]
    px_per_mm: float | None
    disputes: tuple[str, ...]
    odd: tuple[OddClick, ...]


def agreement_text(found: Agreement) -> str:
    """Give the comparison as text for a terminal."""
    lines = [f"{len(found.names)} passes: " + ", ".join(found.names), ""]
    if not found.items:
        return "\n".join([*lines, "no item was clicked in two passes: nothing to compare"]) + "\n"
    if found.odd:
        lines += [*(f"ODD  {odd_told(found, click)}" for click in found.odd), ""]
    lines += [*_item_rows(found), "", *_kind_rows(found)]
    for pair in found.pairs:
        lines += ["", *_pair_rows(found, pair)]
    if found.disputes:
        lines += ["", "States that differ", *(f"  {text}" for text in found.disputes)]
    return "\n".join(lines) + "\n"


def odd_told(found: Agreement, click: OddClick) -> str:
    """Say in one sentence which click is odd, and what to do."""
    if click.of_pass is None:
        return f"{click.name}: the two passes lie {click.off:.1f} px apart there; look which one is off"
    who = found.names[click.of_pass]
    return f"{click.name} of {who} lies {click.off:.1f} px from where the others have it; click it again"


def _mm(found: Agreement, px: float) -> str:
    return "" if found.px_per_mm is None else f"  {px / found.px_per_mm:6.3f}"


def _item_rows(found: Agreement) -> Iterator[str]:
    head = "  sd per axis, mm" if found.px_per_mm is not None else ""
    yield f"  {'item':<24}passes   sd x, px   sd y, px   sd per axis, px{head}"
    for item in found.items:
        name = item.name + (" covered" if item.kind is Kind.COVERED else "")
        row = f"  {name:<24}{len(item.deviations):6d}{item.sd_x:11.2f}{item.sd_y:11.2f}{item.sd:18.2f}"
        yield row + _mm(found, item.sd)


def _kind_rows(found: Agreement) -> Iterator[str]:
    yield "Suggested sigma_px: sd of one click per axis, all passes taken alike (95 % interval)"
    for kind in found.kinds:
        low, high = kind.interval
        mm = f" = {kind.sd / found.px_per_mm:.3f} mm" if found.px_per_mm is not None else ""
        weak = "; few repeats, do not lean on it" if kind.freedom < 10 else ""
        row = f"  {kind.kind:<16}{kind.sd:6.2f} px ({low:.2f} to {high:.2f}){mm}"
        yield f"{row}, {kind.freedom} degrees of freedom{weak}"


def _pair_rows(found: Agreement, pair: PairAgreement) -> Iterator[str]:
    yield f"{found.names[pair.first]} minus {found.names[pair.second]}, {pair.shared} shared items"
    x, y = pair.dahlberg
    yield f"  Dahlberg's error     x {x:.2f} px, y {y:.2f} px"
    if pair.limits is None:
        yield f"  bias and limits      not given: {pair.shared} shared items, needed {LEAST_LIMITS}"
    else:
        for axis, limits in zip("xy", pair.limits, strict=True):
            low, high = limits.bias_interval
            yield (
                f"  bias {axis}               {limits.bias:+.2f} px ({low:+.2f} to {high:+.2f}), "
                f"limits of agreement {limits.lower:+.2f} to {limits.upper:+.2f} px"
            )
    for axis, one in zip("xy", pair.icc, strict=True):
        if one is None:
            yield f"  ICC(2,1) {axis}           not defined: the two agree exactly"
        else:
            low, high = one.interval
            row = f"  ICC(2,1) {axis}           {one.value:.5f} ({low:.5f} to {high:.5f})"
            yield f"{row}, flattered by how far corners lie apart"


def agreement_figure(found: Agreement) -> Figure:
    """Draw how each item's clicks lie around their mean, all on one scale, y down as in the picture."""
    with house_style():
        items = found.items
        columns = min(4, max(1, len(items)))
        rows = -(-len(items) // columns)
        figure = blank_figure(8.0, 1.1 + 1.95 * rows)
        reach = max([1.0, *(float(np.abs(item.deviations).max()) * 1.25 for item in items)])
        high = figure.get_size_inches()[1]
        for k, item in enumerate(items):
            row, column = divmod(k, columns)
            left = 0.075 + column * (0.915 / columns)
            bottom = 1 - (0.95 + 1.95 * (row + 1) - 0.42) / high
            axes = figure.add_axes((left, bottom, 0.70 / columns, 1.35 / high))
            _draw_item(axes, item, reach, first=column == 0, last=k + columns >= len(items))
        figure.text(0.02, 1 - 0.22 / high, _title(found), fontsize=TITLE_PT, fontweight="bold", va="center")
        told = "each mark is one click, numbered by pass; cross: mean; ring: sd per axis"
        told += f"; {1 / found.px_per_mm:.3f} mm a px" if found.px_per_mm is not None else ""
        figure.text(0.02, 1 - 0.44 / high, told, fontsize=SMALL_PT, color=INK, va="center")
    return figure


def _title(found: Agreement) -> str:
    if not found.kinds:
        return "No item was clicked twice"
    parts = [f"{kind.kind} {kind.sd:.2f} px" for kind in found.kinds]
    return "One click scatters, per axis: " + ", ".join(parts)


def _draw_item(axes: Axes, item: ItemScatter, reach: float, *, first: bool, last: bool) -> None:
    from matplotlib.patches import Circle

    axes.axhline(0, color=NEUTRAL, lw=0.6)
    axes.axvline(0, color=NEUTRAL, lw=0.6)
    axes.add_patch(Circle((0, 0), item.sd, fill=False, ec=NEUTRAL, lw=1.0))
    axes.plot(*item.deviations.T, MEASURED.marker, color=MEASURED.colour, ms=4)
    for number, (x, y) in enumerate(item.deviations, 1):
        if len(item.deviations) <= 6:
            axes.annotate(
                str(number), (x, y), (3, 3), textcoords="offset points", fontsize=SMALL_PT, color=INK
            )
    axes.set(xlim=(-reach, reach), ylim=(reach, -reach), aspect="equal")
    name = item.name.replace("_", " ") + (" covered" if item.kind is Kind.COVERED else "")
    axes.set_title(f"{name}: {item.sd:.2f} px", fontsize=TEXT_PT)
    if first:
        axes.set_ylabel("down, px")
    if last:
        axes.set_xlabel("right, px")


def state_disputes(names: Sequence[str], states: Sequence[dict[str, str]]) -> tuple[str, ...]:
    """Say for which corners the passes differ in state.

    Examples
    --------
    >>> state_disputes(["a", "b"], [{"41d": "seen"}, {"41d": "covered"}])
    ('41d: seen (a), covered (b)',)
    """
    codes = dict.fromkeys(code for own in states for code in own)
    told = []
    for code in codes:
        said = [(own[code], name) for own, name in zip(states, names, strict=True) if code in own]
        if len({state for state, _ in said}) > 1:
            told.append(f"{code}: " + ", ".join(f"{state} ({name})" for state, name in said))
    return tuple(told)
