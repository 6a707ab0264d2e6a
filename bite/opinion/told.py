"""A second opinion as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill

import numpy as np

from bite import __version__
from bite.check.result import Json
from bite.check.words import CAUTION, told
from bite.fit.block import CLICKS, ON_SKIN, ON_TEETH
from bite.fit.causes import UNKNOWNS
from bite.opinion.explain import Explained
from bite.opinion.scores import ASSUMED
from bite.opinion.standing import placed_causes
from bite.opinion.steps import Opinion, is_credible, values_told

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
    yield "Causes, each alone beside a model without any difference, what is said first"
    yield f"  {'':<26}{'':>10}  {'':>9}  {'':>6}   chi-square from"
    columns = "".join(f"{_SHORT.get(kind, kind):>9}" for kind in kinds)
    yield f"  {'cause':<26}{'chi-square':>10}  {'by chance':>9}  {'weight':>6}  {columns}   best value"
    for placed in placed_causes(opinion):
        found = placed.cause
        if found is None:
            yield f"  {'no difference at all':<26}{'':>21}  {opinion.ranked.weight_of_none:>6.0%}"
            continue
        chance = f"{found.chance:.1g}" if found.chance < 0.01 else f"{found.chance:.2f}"
        row = f"  {found.cause:<26}{found.statistic:>10.1f}  {chance:>9}  {found.weight:>6.0%}  "
        if found.unseen:
            row = f"  {found.cause:<26}{'-':>10}  {'-':>9}  {'-':>6}  "
        row += "".join(f"{'-' if found.unseen else format(gain, '.1f'):>9}" for gain in _gains(found, kinds))
        yield f"{row}   {values_told(found)}"
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
                f"  {cause:<26}speaks {vote.speaks}: {100 * vote.share:.0f} +- {100 * vote.sd:.0f} % of the "
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
