"""Libraries loaded without what a check never uses of them, in a process of ours alone.

Matplotlib comes without its help texts and its three-dimensional axes, SciPy's filters without numpy's
Fortran compiler and test tools.
"""

from __future__ import annotations

import sys
import warnings
from typing import Any

_LEFT_OUT = "mpl_toolkits.mplot3d"
_TOOLS = ("f2py", "testing")
"""Parts of numpy that it loads when they are asked for, as SciPy does for all its parts when it starts."""


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


def load_filters() -> None:
    """Import SciPy's filters; numpy's tools are still there for whoever asks for them later.

    Nothing is done where the filters, or any of the tools, are loaded already.
    """
    import numpy

    if any(name in sys.modules for name in ("scipy.ndimage", *(f"numpy.{tool}" for tool in _TOOLS))):
        return
    library: Any = numpy
    for tool in _TOOLS:
        setattr(library, tool, None)
    try:
        import scipy.ndimage  # noqa: F401  # loaded here for all that import it later
    finally:
        for tool in _TOOLS:
            # where it was loaded after all, by another way, it is itself again
            if f"numpy.{tool}" in sys.modules:
                setattr(library, tool, sys.modules[f"numpy.{tool}"])
            elif tool in vars(library):
                delattr(library, tool)
