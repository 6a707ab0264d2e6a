import numpy as np

from bite.check.assessment import CornerMark
from bite.check.panels.reprojection import draw_reprojection, view_error
from bite.plots.style import blank_figure, house_style

MARKS = (
    CornerMark("side", "11d", "seen", (100.0, 50.0), (103.0, 54.0), (100.0, 51.0)),
    CornerMark("side", "21d", "unsure", (140.0, 50.0), (143.0, 46.0), (140.0, 49.0)),
    CornerMark("side", "41d", "covered", (105.0, 60.0), (105.0, 20.0), (105.0, 20.0)),
    CornerMark("front", "11d", "seen", (10.0, 10.0), (90.0, 90.0), None),
    CornerMark("front", "subnasale", "landmark", (10.0, 10.0), (30.0, 10.0), (30.0, 10.0)),
)


def test_only_positions_of_the_view_count() -> None:
    error = view_error(MARKS, "side")
    assert (error.corners, error.before_px, error.after_px) == (2, 5.0, 1.0)
    assert view_error(MARKS, "front").after_px is None and view_error(MARKS, "front").corners == 1
    assert view_error((), "side").before_px is None


def test_the_panel_tells_both_errors_and_draws_them_to_the_scale_that_it_shows() -> None:
    with house_style():
        axes = blank_figure(4, 2).add_axes((0.1, 0.1, 0.8, 0.8))
        draw_reprojection(axes, MARKS, "side", "view side")
    assert " ".join(axes.get_title(loc="left").split()) == "view side, off by 5.0 px before, 1.0 px after"
    low, high = axes.get_xlim()
    bottom, top = axes.get_ylim()
    assert bottom > top  # y down
    wide, tall = axes.bbox.width, axes.bbox.height
    assert abs((high - low) / wide / ((bottom - top) / tall) - 1) < 1e-9
    dotted = [line for line in axes.lines if line.get_linestyle() == ":"]
    moved = [np.diff(line.get_xydata(), axis=0)[0].tolist() for line in dotted]
    np.testing.assert_allclose(moved, [[3.0, 4.0], [3.0, -4.0]], atol=1e-9)
    [bar] = [line for line in axes.lines if line.get_linewidth() == 2.0]
    written = {text.get_text() for text in axes.texts}
    assert written == {"11d", "21d", f"{np.ptp(bar.get_xdata()):g} px"}
    # large: an error of 5 px takes at least a tenth of the panel, where the corners lie 40 px apart
    assert 5.0 / (high - low) > 0.1


def test_a_view_without_corners_says_so() -> None:
    axes = blank_figure(4, 2).add_axes((0.1, 0.1, 0.8, 0.8))
    draw_reprojection(axes, MARKS[2:3], "side", "view side")
    assert "No clicked corner" in axes.texts[0].get_text().replace("\n", " ")
