"""Axes for pictures and words: a frame, a title and labels, and no ticks.

Matplotlib makes four ticks with their lines and letters for all axes, and then hides them: a third of the
making of a page. Imports matplotlib at its top: import it where a figure is drawn.
"""

from __future__ import annotations

from typing import Any, Literal

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import XAxis, YAxis
from matplotlib.ticker import NullLocator


class _NoTicks:
    """What makes an axis one without ticks."""

    majorTicks: Any = ()
    minorTicks: Any = ()

    def get_major_ticks(self, numticks: int | None = None) -> list[Any]:
        """Give none."""
        return []

    def get_minor_ticks(self, numticks: int | None = None) -> list[Any]:
        """Give none."""
        return []


class _BareXAxis(_NoTicks, XAxis):
    set = Artist.set  # as inherited, but for a help text that takes longer to write than the axis to make

    def get_ticks_position(self) -> Literal["bottom"]:
        """Give where ticks would be; matplotlib 3.8 asks the first of them, to place titles."""
        return "bottom"


class _BareYAxis(_NoTicks, YAxis):
    set = Artist.set

    def get_ticks_position(self) -> Literal["left"]:
        """Give where ticks would be."""
        return "left"


class BareAxes(Axes):
    """Axes without ticks: ``figure.add_axes(box, axes_class=BareAxes)``."""

    set = Artist.set

    def _init_axis(self) -> None:
        """Make the axes' own axis objects, as projections of matplotlib's users do."""
        self.xaxis = _BareXAxis(self, clear=False)
        self.yaxis = _BareYAxis(self, clear=False)
        for axis, names in ((self.xaxis, ("bottom", "top")), (self.yaxis, ("left", "right"))):
            for name in names:
                self.spines[name].register_axis(axis)

    def clear(self) -> None:
        """Make as new, without ticks."""
        super().clear()
        for axis in (self.xaxis, self.yaxis):
            axis.set_major_locator(NullLocator())
        for spine in self.spines.values():
            # as the first tick does: until they are asked for, spines do not know their places
            spine.get_position()
