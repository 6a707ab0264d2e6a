"""Axes without ticks and joined lines, held against matplotlib's own axes and lines, pixel by pixel."""

from __future__ import annotations

import numpy as np

from bite.plots.saving import figure_pixels
from bite.plots.style import bare_axes, blank_figure, house_style

BOX = (0.2, 0.2, 0.6, 0.6)


def drawn(*, bare: bool) -> np.ndarray:
    with house_style():
        figure = blank_figure(3.0, 2.0)
        axes = bare_axes(figure, BOX) if bare else figure.add_axes(BOX)
        axes.set(xlim=(0.0, 4.0), ylim=(3.0, 0.0))
        axes.set_xticks([])
        axes.set_yticks([])
        axes.set_title("a title")
        axes.set_xlabel("what lies below")
        axes.plot([0.5, 3.5], [0.5, 2.5])
        axes.text(0.5, 0.5, "words", transform=axes.transAxes)
    return figure_pixels(figure)


def test_frame_title_label_and_lines_are_those_of_axes_whose_ticks_are_taken_away() -> None:
    pixels = drawn(bare=True)
    assert (pixels != 255).any(-1).sum() > 1000
    np.testing.assert_array_equal(pixels, drawn(bare=False))


def test_axes_that_are_off_show_their_words_only() -> None:
    with house_style():
        figure = blank_figure(3.0, 2.0)
        axes = bare_axes(figure, BOX)
        axes.set_axis_off()
        assert (figure_pixels(figure) == 255).all()
        axes.text(0.5, 0.5, "words")
        assert (figure_pixels(figure) != 255).any()


def test_joined_lines_are_those_drawn_one_by_one_and_leave_the_limits_alone() -> None:
    from bite.plots.lines import put_lines

    lines = [np.array([(0.1, 0.1), (0.9, 0.4)]), np.array([(0.1, 0.6), (0.5, 0.9), (2.0, 0.7)])]
    pictures = []
    for joined in (True, False):
        figure = blank_figure(3.0, 2.0)
        axes = bare_axes(figure, BOX)
        axes.set(xlim=(0.0, 1.0), ylim=(0.0, 1.0))
        if joined:
            put_lines(axes, lines, color="black", lw=2.0, alpha=0.5)
            put_lines(axes, [], color="black")
        else:
            for line in lines:
                axes.plot(*line.T, color="black", lw=2.0, alpha=0.5)
        assert axes.get_xlim() == (0.0, 1.0)
        pictures.append(figure_pixels(figure))
    assert (pictures[0] != 255).any()
    np.testing.assert_array_equal(*pictures)
