"""A second opinion: as text, as JSON, and drawn as ranked causes over shaded reliefs of the mouth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill, wrap
from typing import TYPE_CHECKING

import numpy as np

from bite import __version__
from bite.check.result import Json
from bite.check.words import CAUTION, told
from bite.fit.block import CLICKS, ON_SKIN, ON_TEETH
from bite.fit.causes import UNKNOWNS
from bite.opinion.explain import Explained
from bite.opinion.scores import ASSUMED
from bite.opinion.steps import Opinion, is_credible, values_told
from bite.plots.style import (
    INK,
    MEASURED,
    NEUTRAL,
    SMALL_PT,
    TEXT_PT,
    TITLE_PT,
    blank_figure,
    house_style,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMAT = "bite-opinion 1"
_SHORT = {CLICKS: "clicks", ON_TEETH: "teeth", ON_SKIN: "skin", ASSUMED: "assumed"}


def headline(opinion: Opinion) -> str:
    """Give the conclusion in one sentence."""
    return f"{opinion.frame.name}: {opinion.conclusion}"


def opinion_text(opinion: Opinion) -> str:
    """Give the opinion as text for a terminal."""
    return "\n".join(_rows(opinion)) + "\n"


def _rows(opinion: Opinion) -> Iterator[str]:
    yield fill(headline(opinion), 100, subsequent_indent="    ")
    for cause, cure in opinion.cures:
        yield fill(f"if {cause}: {cure}", 100, initial_indent="  ", subsequent_indent="    ")
    yield ""
    kinds = _kinds(opinion.ranked.causes)
    yield "Causes, each alone beside a model without any difference, best first"
    yield f"  {'':<26}{'':>10}  {'':>9}  {'':>6}   chi-square from"
    columns = "".join(f"{_SHORT.get(kind, kind):>9}" for kind in kinds)
    yield f"  {'cause':<26}{'chi-square':>10}  {'by chance':>9}  {'weight':>6}  {columns}   best value"
    for found in opinion.ranked.causes:
        chance = f"{found.chance:.1g}" if found.chance < 0.01 else f"{found.chance:.2f}"
        row = f"  {found.cause:<26}{found.statistic:>10.1f}  {chance:>9}  {found.weight:>6.0%}  "
        if found.unseen:
            row = f"  {found.cause:<26}{'-':>10}  {'-':>9}  {'-':>6}  "
        row += "".join(f"{'-' if found.unseen else format(gain, '.1f'):>9}" for gain in _gains(found, kinds))
        yield f"{row}   {values_told(found)}"
    yield f"  {'no difference at all':<26}{'':>21}  {opinion.ranked.weight_of_none:>6.0%}"
    yield "  (below 0: speaks against it; assumed: head near its sensor, enamel and smoothing as stated)"
    alike = [e for e in opinion.ranked.causes if e.alike]
    if alike:
        yield ""
        yield "Look the same in this frame"
        told_pairs = set()
        for found in alike:
            for other, shared in found.alike:
                pair = frozenset((found.cause, other))
                if pair not in told_pairs:
                    told_pairs.add(pair)
                    yield f"  {found.cause} and {other} (correlation {shared:.2f})"
    for found in opinion.ranked.found:
        if not is_credible(found):
            yield ""
            yield f"Ruled out: {found.cause} ({values_told(found)}): no sensor sees enamel so near or so deep"
    if opinion.votes:
        yield ""
        yield "What the picture says of them (no part of the ranking)"
        for cause, vote in opinion.votes.items():
            yield (
                f"  {cause:<26}speaks {vote.speaks}: {vote.share:.0%} +- {vote.sd:.0%} of the "
                f"{vote.area_mm2:.0f} mm2 that change between enamel and lips look as it says"
            )
    if opinion.sunken is not None:
        yield ""
        yield from _sunken_rows(opinion)
    yield ""
    yield CAUTION


def _kinds(causes: Sequence[Explained]) -> list[str]:
    """Give the kinds of evidence that a frame holds, in the order of the columns, other ones last."""
    gain = causes[0].gain
    return [kind for kind in _SHORT if kind in gain] + sorted(gain.keys() - _SHORT.keys())


def _gains(found: Explained, kinds: Sequence[str]) -> list[float]:
    """Give how much of a cause's chi-square comes from each kind of evidence."""
    return [found.statistic * found.gain[kind] for kind in kinds]


def _sunken_rows(opinion: Opinion) -> Iterator[str]:
    sunken = opinion.sunken
    assert sunken is not None
    yield "How sunken it looks"
    areas = f"{sunken.area_before_mm2:.0f} mm2 before, {sunken.area_after_mm2:.0f} mm2 after"
    yield f"  enamel that shows   {areas}"
    if sunken.shadow_before_mm is not None and sunken.shadow_after_mm is not None:
        yield (
            f"  shadow of the lip   {sunken.shadow_before_mm:.1f} mm down the upper incisors before, "
            f"{sunken.shadow_after_mm:.1f} mm after (lamp 50 degrees above the bite plane)"
        )
    if sunken.behind_before_mm is not None and sunken.behind_measured is not None:
        yield (
            f"  edge behind the lip {sunken.behind_before_mm:.1f} mm before, "
            f"{sunken.behind_after_mm:.1f} mm after; measured {told(sunken.behind_measured, 'mm')}"
        )


def opinion_mapping(opinion: Opinion) -> dict[str, Json]:
    """Give the content of the JSON file."""
    sunken, offset = opinion.sunken, opinion.offset
    measured = None if sunken is None else sunken.behind_measured
    hashes = opinion.frame.hashes
    return {
        "format": FORMAT,
        "frame": opinion.frame.name,
        "performer": opinion.frame.file.performer,
        "conclusion": opinion.conclusion,
        "best": [str(cause) for cause in opinion.best],
        "cures": {str(cause): cure for cause, cure in opinion.cures},
        "causes": [_cause(found) for found in opinion.ranked.causes],
        "picture": {
            str(cause): {"area_mm2": vote.area_mm2, "share": vote.share, "sd": vote.sd}
            for cause, vote in opinion.votes.items()
        },
        "weight_of_none": opinion.ranked.weight_of_none,
        "offset": None if offset is None else {"t_mm": offset.value, "sd_mm": offset.sd},
        "sunken": None
        if sunken is None
        else {
            "enamel_before_mm2": sunken.area_before_mm2,
            "enamel_after_mm2": sunken.area_after_mm2,
            "lip_shadow_before_mm": sunken.shadow_before_mm,
            "lip_shadow_after_mm": sunken.shadow_after_mm,
            "edge_behind_lip_before_mm": sunken.behind_before_mm,
            "edge_behind_lip_after_mm": sunken.behind_after_mm,
            "edge_behind_lip_measured_mm": None if measured is None else measured.value,
            "edge_behind_lip_measured_sd_mm": None if measured is None else measured.sd,
        },
        "inputs": {name: hashes[name] for name in sorted(hashes)},
        "version": __version__,
    }


def _cause(found: Explained) -> Json:
    return {
        "cause": str(found.cause),
        "unknowns": list(UNKNOWNS[found.cause]),
        "value": [float(v) for v in found.value],
        "sd": [float(v) if np.isfinite(v) else None for v in found.sd],
        "chi_square": found.statistic,
        "chance": found.chance,
        "weight": found.weight,
        "evidence": dict(found.gain),
        "alike": [[str(cause), shared] for cause, shared in found.alike],
        "refitted": found.refitted,
        "suffices": found.suffices,
        "left": {
            "cause": str(found.left.cause),
            "chi_square": found.left.statistic,
            "chance": found.left.chance,
        },
    }


def opinion_figure(opinion: Opinion) -> Figure:
    """Draw the ranked causes, and the mouth before, after and as measured under one lamp."""
    sunken = opinion.sunken
    title = "\n".join(wrap(headline(opinion), 86))
    top = 0.35 + 0.2 * len(title.splitlines())
    height = top + (3.3 if sunken is None else 7.75)
    with house_style():
        figure = blank_figure(8.0, height)
        figure.text(0.02, 1 - 0.1 / height, title, va="top", fontsize=TITLE_PT, fontweight="bold", color=INK,
                    linespacing=1.3)  # fmt: skip
        _draw_causes(figure.add_axes((0.2, 1 - (top + 2.6) / height, 0.36, 2.6 / height)), opinion)
        if sunken is not None:
            from bite.opinion.reliefs import draw_reliefs

            draw_reliefs(figure, sunken, top_in=top + 3.25)
        figure.text(0.02, 0.06 / height, CAUTION, fontsize=SMALL_PT, color=INK, va="bottom")
    return figure


def _draw_causes(axes: Axes, opinion: Opinion) -> None:
    causes = opinion.ranked.causes[::-1]
    found = {e.cause for e in opinion.ranked.found}
    for k, one in enumerate(causes):
        best = one.cause in opinion.best
        colour = MEASURED.colour if best else NEUTRAL
        axes.barh(k, max(one.statistic, 0.02), height=0.6, color=colour)
        mark = "best" if best else "beyond chance alone" if one.cause in found else "within chance"
        words = values_told(one) if one.unseen else f"{values_short(one)}\n{mark}, weight {one.weight:.0%}"
        axes.text(1.03, k, words, transform=axes.get_yaxis_transform(),
                  va="center", fontsize=SMALL_PT - 0.8, color=INK, linespacing=1.1)  # fmt: skip
    _draw_gains(axes, causes)
    axes.set_yticks(range(len(causes)), [str(e.cause) for e in causes], fontsize=TEXT_PT)
    axes.set_xscale("symlog", linthresh=10.0)
    top = max(20.0, *(e.statistic for e in causes))
    axes.set_xlim(0, 1.3 * top)
    ticks = [tick for tick in (0, 5, 10, 30, 100, 300, 1000, 3000, 10000, 100000) if tick <= 1.3 * top]
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.minorticks_off()
    axes.set_xlabel("how much better it explains the frame, chi-square (10 and more: logarithmic)")
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _draw_gains(axes: Axes, causes: Sequence[Explained]) -> None:
    """Write beside each bar how much of it comes from each kind of evidence."""
    kinds = _kinds(causes)
    place = axes.get_yaxis_transform()
    for k, kind in enumerate(kinds):
        at = 2.17 - 0.18 * (len(kinds) - 1 - k)
        axes.text(at, len(causes) - 0.35, _SHORT.get(kind, kind), transform=place, ha="right",
                  fontsize=SMALL_PT - 0.8, color=INK)  # fmt: skip
        for row, one in enumerate(causes):
            if not one.unseen:
                axes.text(at, row, f"{round(one.statistic * one.gain[kind])}", transform=place, ha="right",
                          va="center", fontsize=SMALL_PT, color=INK)  # fmt: skip
    axes.text(2.17, len(causes) + 0.25, "chi-square from (below 0: speaks against it)", transform=place,
              ha="right", fontsize=SMALL_PT - 0.8, color=INK)  # fmt: skip


def values_short(one: Explained) -> str:
    """Give values without their sds where there are several."""
    if len(one.value) == 1:
        return values_told(one)
    names = UNKNOWNS[one.cause]
    return ", ".join(f"{n.partition(',')[0]} {v:+.1f}" for n, v in zip(names, one.value, strict=True))
