"""A mouth before, after and as measured, side by side under one lamp: drawn on a figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bite.opinion.sunken import Look, Sunken
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, SMALL_PT
from bite.plots.style import Look as Style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_FRONT_IN, _PROFILE_IN = 1.72, 2.2
NOTHING = "#cfe3f2"
"""Where no surface or no reading is: no shade of grey."""


def draw_reliefs(figure: Figure, sunken: Sunken, *, top_in: float) -> None:
    """Draw two rows of three pictures: from the shooting camera, and in profile.

    Parameters
    ----------
    figure : Figure, 8 inches wide
    sunken : Sunken
    top_in : float, distance of the upper row from the figure's top, inches
    """
    height = figure.get_figheight()
    shadows = (sunken.shadow_before_mm, sunken.shadow_after_mm, None)
    behind = (
        sunken.behind_before_mm,
        sunken.behind_after_mm,
        None if sunken.behind_measured is None else sunken.behind_measured.value,
    )
    looks = (sunken.before, sunken.after, sunken.measured)
    for k, (look, style) in enumerate(zip(looks, (BEFORE, AFTER, MEASURED), strict=True)):
        for row, size in enumerate((_FRONT_IN, _PROFILE_IN)):
            down = top_in + size + row * (_FRONT_IN + 0.36)
            axes = figure.add_axes((0.02 + 0.33 * k, 1 - down / height, 0.31, size / height))
            if row == 0:
                shadow = shadows[k]
                words = "from the shooting camera" if shadow is None else f"lip's shadow {shadow:.1f} mm"
                _draw(axes, look.front, style, f"{style.word}: {words}")
            else:
                mm = behind[k]
                words = "cut at the midline" if mm is None else f"edge {mm:.1f} mm behind lip"
                _draw(axes, look.profile, style, f"{style.word}: {words}")
                _mark(axes, look, style)


def _draw(axes: Axes, picture: np.ndarray, style: Style, title: str) -> None:
    axes.imshow(picture, cmap="gray", vmin=0.0, vmax=1.0, interpolation="bilinear")
    axes.set_facecolor(NOTHING)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlim(-0.5, picture.shape[1] - 0.5)
    axes.set_ylim(picture.shape[0] - 0.5, -0.5)
    for spine in axes.spines.values():
        spine.set(color=style.colour, linewidth=1.6)
    axes.set_title(title, fontsize=SMALL_PT, color=style.colour)


def _mark(axes: Axes, look: Look, style: Style) -> None:
    """Mark how far the incisal edge stands behind the lip: two lines, and the way between them."""
    if look.lip_px is None or look.edge_px is None:
        return
    lip, edge = float(look.lip_px[0]), look.edge_px
    for x in (lip, float(edge[0])):
        axes.axvline(x, color=style.colour, lw=0.9, ls=(0, (3, 2)))
    axes.plot(*edge, style.marker, color=style.colour, ms=5, mec="white", mew=0.8)
    at = 0.06 * look.profile.shape[0]
    ends = {"arrowstyle": "<->", "color": INK, "lw": 1.0}
    box = {"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.85}
    axes.annotate("", (float(edge[0]), at + 22), (lip, at + 22), arrowprops=ends, bbox=box)
    for x, word, side in ((lip, "lip", "right"), (float(edge[0]), "edge", "left")):
        axes.text(x + (4 if side == "left" else -4), at, word, ha=side, va="center", fontsize=SMALL_PT,
                  color=INK, bbox=box)  # fmt: skip
