"""Many lines of one look as one object: making an object takes longer than drawing it.

Imports matplotlib at its top: import it where a figure is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D

from bite.geometry.rigid import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_GAP = np.full((1, 2), np.nan)


def put_lines(axes: Axes, lines: Sequence[Array], **look: Any) -> None:
    """Draw lines of one look into axes whose limits are set already, and which stay as they are.

    Parameters
    ----------
    lines : arrays, shape (n, 2), in the data of the axes
    look : of Line2D
    """
    if not lines:
        return
    joined = np.concatenate([piece for line in lines for piece in (line, _GAP)][:-1])
    axes.add_artist(Line2D(joined[:, 0], joined[:, 1], **look))
