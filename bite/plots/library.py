"""Matplotlib loaded without what a check never uses of it, in a process of ours: help texts, 3D axes."""

from __future__ import annotations

import sys
import warnings
from typing import Any

_LEFT_OUT = "mpl_toolkits.mplot3d"


def load_for_drawing() -> None:
    """Import what draws, in a process of ours that nobody asks for matplotlib's help.

    While its classes are made matplotlib writes a table of settings into the help of each, and it loads its
    three-dimensional axes where it finds them: two fifths of its import. Nothing is done where it is loaded
    already.
    """
    if "matplotlib.figure" in sys.modules:
        return
    import matplotlib.artist

    artist: Any = matplotlib.artist
    modules: dict[str, Any] = sys.modules
    write_table, found = getattr(artist, "kwdoc", None), _LEFT_OUT in modules
    with warnings.catch_warnings():
        # it warns that there are no three-dimensional axes, and goes on without
        warnings.simplefilter("ignore")
        artist.kwdoc = _no_table
        if not found:
            modules[_LEFT_OUT] = None
        try:
            import matplotlib.backends.backend_agg
            import matplotlib.figure
        finally:
            if write_table is not None:
                artist.kwdoc = write_table
            if not found:
                del modules[_LEFT_OUT]


def _no_table(_artist: object) -> str:
    return ""
