"""Libraries loaded without what is not used: asked in processes of their own, since they are loaded once."""

from __future__ import annotations

import subprocess
import sys

import pytest

ASKED = """
import sys, warnings
warnings.simplefilter("error")
warnings.filterwarnings("ignore", category=DeprecationWarning)  # of an old matplotlib about a newer pyparsing
import matplotlib.artist
before = matplotlib.artist.kwdoc
from bite.plots.library import load_for_drawing
load_for_drawing()
load_for_drawing()
assert "matplotlib.figure" in sys.modules and "mpl_toolkits.mplot3d" not in sys.modules
assert matplotlib.artist.kwdoc is before
from bite.plots.saving import figure_pixels
from bite.plots.style import blank_figure
figure = blank_figure(2.0, 1.0)
figure.add_axes((0.2, 0.2, 0.7, 0.7)).plot([0, 1], [0, 1])
assert (figure_pixels(figure) != 255).any()
import mpl_toolkits.mplot3d
print(len(matplotlib.lines.Line2D.set.__doc__))
"""
PLAIN = "import matplotlib.figure; print(len(matplotlib.lines.Line2D.set.__doc__))"


@pytest.mark.slow
def test_it_draws_without_a_word_leaves_nothing_changed_behind_and_writes_no_tables() -> None:
    def told(code: str) -> int:
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert done.stderr == ""
        return int(done.stdout)

    assert told(ASKED) < told(PLAIN), "the tables are what is left out"
