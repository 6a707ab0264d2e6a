"""A ranked take in words: a table for the terminal, best first."""

from __future__ import annotations

from textwrap import fill

from bite.choose.content import Chosen, Ranked, Standing

_HEAD = ("rank", "frame", "standing", "sd mm", "enamel mm2", "blur mm", "px/frame", "clipped")
_WIDE = 100
"""Letters of a terminal's line."""


def one_line(chosen: Chosen) -> str:
    """Say in one line which frame is best."""
    first = chosen.ranked[0]
    name = f"frame {first.measures.number} ({first.measures.name})"
    counts = ", ".join(
        f"{number} {standing}"
        for standing in Standing
        if (number := sum(one.standing is standing for one in chosen.ranked))
    )
    if first.standing is Standing.UNJUDGED:
        return f"{chosen.take_name}: NOT JUDGED - stillest and sharpest is {name}; click once; {counts}"
    if first.standing is Standing.UNFIT:
        told = f"of {chosen.frames_read} frames none can be a bite frame"
        return f"{chosen.take_name}: NONE FIT - {told}; {counts}"
    sd = first.measures.sd_mm
    told = "" if sd is None else f", expected sampling sd {sd:.2f} mm"
    word = "BEST" if first.standing is Standing.FIT else "DOUBTFUL"
    return f"{chosen.take_name}: {word} - {name}{told}; {counts}"


def table(chosen: Chosen, best: int) -> str:
    """Give the best frames as a table, each with a line of reasons, and the notes."""
    shown = chosen.ranked[:best]
    rows = [_HEAD, *(_row(one) for one in shown)]
    if all(one.standing is Standing.UNJUDGED for one in shown):
        rows = [tuple(row[k] for k in (0, 1, 2, 6)) for row in rows]
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = [one_line(chosen), ""]
    for number, row in enumerate(rows):
        lines.append("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
        if number:
            told = fill(shown[number - 1].why, _WIDE, initial_indent="      ", subsequent_indent="      ")
            lines.append(told)
    left = len(chosen.ranked) - len(shown)
    if left:
        lines.append(f"and {left} more, all in {chosen.take_name}.choose.json")
    return "\n".join(lines)


def _row(one: Ranked) -> tuple[str, ...]:
    m = one.measures
    edge = None if m.edge_px is None or m.mm_per_px is None else m.edge_px * m.mm_per_px
    return (
        str(one.rank),
        f"{m.number} {m.name}" + (" (clicked)" if m.clicked else ""),
        str(one.standing),
        _number(m.sd_mm, 3),
        _number(m.enamel_mm2, 0),
        _number(edge, 2),
        _number(m.motion_px, 1),
        "-" if m.clipped is None else f"{100 * m.clipped:.0f} %",
    )


def _number(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f}"
