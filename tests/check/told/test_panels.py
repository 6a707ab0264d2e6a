"""Panel by panel: directions, limits, scales, marks."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.figure import Figure

from bite.check.assessment import Assessment, CornerMark
from bite.check.finding import Finding, Severity
from bite.check.panels.picture_crop import lifted, mouth_crop
from bite.check.single_panels import panel_figures
from bite.files.rig import Dial
from bite.geometry.rigid import frozen
from bite.plots.style import AFTER, BEFORE, MEASURED, blank_figure
from bite.stats.estimate import Estimate
from tests.check.told.conftest import Fake


@cache
def plain() -> tuple[Assessment, Mapping[str, Figure]]:
    """Draw the panels of a made-up assessment, once for all tests that only read them."""
    found = Fake().make()
    return found, panel_figures(found)


def axes_of(figure: Figure, name: str):
    return figure.axes[1] if name in ("crowns", "across-incisors") else figure.axes[0]


def panel(found, name: str):
    return axes_of(panel_figures(found)[name], name)


def plain_panel(name: str):
    return axes_of(plain()[1][name], name)


def test_forward_is_right_along_the_crowns_and_up_across_the_incisors() -> None:
    far, near = plain_panel("crowns").get_xlim()
    assert far > near  # depth falls to the right, so what is nearer to the camera stands right
    far, near = plain_panel("across-incisors").get_ylim()
    assert far > near  # depth falls upwards, so what is nearer to the camera stands above


@pytest.mark.parametrize("name", ["crowns", "across-incisors"])
def test_sections_have_one_scale_both_ways_and_no_spike_sets_it(name: str) -> None:
    found, _ = plain()
    assert max(np.nanmax(section.measured_mm) for section in found.sections) == 340.0
    axes = plain_panel(name)
    wide, high = np.abs(np.diff(axes.get_xlim()))[0], np.abs(np.diff(axes.get_ylim()))[0]
    assert wide / axes.bbox.width == pytest.approx(high / axes.bbox.height, rel=1e-9)
    # lips at 296 and teeth at 303 to 313 mm must show; one panel inch is about 9 mm
    ends = axes.get_xlim() if name == "crowns" else axes.get_ylim()
    assert min(ends) < 296.5 if name == "crowns" else min(ends) < 301.5
    along = axes.get_ylim() if name == "crowns" else axes.get_xlim()
    assert np.diff(along)[0] < 100.0


@pytest.mark.slow
def test_limits_without_the_spike_are_the_same() -> None:
    found, _ = plain()
    calm = []
    for section in found.sections:
        measured = np.where(section.measured_mm == 340.0, section.after_seen_mm, section.measured_mm)
        calm.append(replace(section, measured_mm=frozen(measured)))
    drawn = panel_figures(replace(found, sections=tuple(calm)))
    for name in ("crowns", "across-incisors"):
        # three of 161 readings in view move the 95 % point a little
        here, there = plain_panel(name), axes_of(drawn[name], name)
        assert here.get_xlim() == pytest.approx(there.get_xlim(), abs=0.5)
        assert here.get_ylim() == pytest.approx(there.get_ylim(), abs=0.5)


def test_curves_are_the_sections_own_numbers() -> None:
    found, _ = plain()
    axes = plain_panel("crowns")
    by_colour = {line.get_color(): line for line in axes.lines if line.get_marker() not in ("None", "", None)}
    section = found.sections[0]
    for look, depth in (
        (MEASURED, section.measured_mm),
        (BEFORE, section.before_seen_mm),
        (AFTER, section.after_seen_mm),
    ):
        np.testing.assert_array_equal(by_colour[look.colour].get_xdata(), depth)
        assert by_colour[look.colour].get_marker() == look.marker


def test_without_a_move_there_is_no_curve_of_after(fake) -> None:
    colours = [
        {line.get_color() for line in panel(fake(offset=offset, views=()).make(), "crowns").lines}
        for offset in (Estimate(0.0, 0.1), Estimate(1.42, 0.1))
    ]
    assert AFTER.colour not in colours[0]
    assert AFTER.colour in colours[1]


def test_the_strip_is_measured_minus_solved_with_forward_positive() -> None:
    found, figures = plain()
    strip = figures["crowns"].axes[2]
    section = found.sections[0]
    thin = {line.get_color(): line.get_xdata() for line in strip.lines if line.get_linewidth() == 0.6}
    # what is nearer to the camera has the smaller depth and stands forward
    np.testing.assert_allclose(thin[BEFORE.colour], section.before_seen_mm - section.measured_mm)
    np.testing.assert_allclose(thin[AFTER.colour], section.after_seen_mm - section.measured_mm)
    on_enamel = section.teeth & (np.abs(section.along_mm - 1.0) < 3)
    assert np.nanmean(thin[BEFORE.colour][on_enamel]) == pytest.approx(1.42, abs=0.2)
    assert np.nanmean(thin[AFTER.colour][on_enamel]) == pytest.approx(0.0, abs=0.2)


def dial_axes(**made):
    """Draw the dial's panel; without a view and depth there is little else to draw."""
    figure = panel_figures(Fake(views=(), depth=False, **made).make())["dial"]
    return figure.axes[0], next((a for a in figure.axes[1:]), None)


@pytest.mark.parametrize("positive_is_back", [True, False])
def test_the_dials_scale_is_aligned_with_the_millimetres(positive_is_back: bool) -> None:
    axes, scale = dial_axes(dial=Dial(positive_is_back, 3.2, None, None, 1.0, 0.01), dial_before=0.25)
    assert axes.get_xlim() == scale.get_xlim()
    way = -3.2 if positive_is_back else 3.2
    for place, label in zip(scale.get_xticks(), scale.get_xticklabels(), strict=True):
        assert place == pytest.approx((float(label.get_text()) - 0.25) * way, abs=1e-9)


def test_a_measured_travel_bends_the_scale() -> None:
    travel = frozen([[-1.0, 3.0], [0.0, 0.0], [1.0, -2.0]])
    _, scale = dial_axes(dial=Dial(True, None, None, travel, 1.0, 0.01))
    at = {
        float(label.get_text()): x
        for x, label in zip(scale.get_xticks(), scale.get_xticklabels(), strict=True)
    }
    assert at[-1.0] == pytest.approx(3.0)
    assert at[0.5] == pytest.approx(-1.0)


def test_saturation_is_seen() -> None:
    axes, _ = dial_axes(offset=Estimate(4.1, 0.2))
    written = [text.get_text() for text in axes.texts]
    assert "left over" in [words.strip() for words in written]
    ends = [line.get_xdata()[0] for line in axes.lines if line.get_linewidth() == 2.0]
    assert 3.2 in np.round(ends, 9)
    assert axes.get_xlim()[1] > 4.49


def test_an_end_far_away_does_not_squeeze_the_interval() -> None:
    axes, _ = dial_axes(dial=Dial(True, 60.0, None, None, 1.0, 0.01))
    assert np.diff(axes.get_xlim())[0] < 10.0


def test_crop_is_sixty_millimetres_about_the_incisors(fake) -> None:
    found = fake().make()
    crop = mouth_crop(found.frame.views[0], list(found.marks), found.px_per_mm, 0.6)
    assert crop.width == pytest.approx(60.0 * 5.0)
    assert crop.height == pytest.approx(0.6 * crop.width)
    assert (crop.centre_x, crop.centre_y) == pytest.approx((500.0, 640.5), abs=1.0)


def test_crop_without_scale_follows_the_corners_and_without_corners_shows_all(fake) -> None:
    found = fake().make()
    view = found.frame.views[0]
    assert mouth_crop(view, list(found.marks), None, 0.6).width == pytest.approx(3.4 * 85.0)
    whole = mouth_crop(view, [], 5.0, 0.6)
    assert whole.width >= 1000
    assert whole.height >= 1300


def test_a_mouth_at_the_edge_of_the_picture_is_drawn(fake) -> None:
    found = fake(depth=False).make()
    shift = np.array([-480.0, -620.0])
    marks = tuple(
        replace(mark, clicked_px=tuple(np.array(mark.clicked_px) + shift), before_px=None, after_px=None)
        for mark in found.marks
    )
    axes = panel(replace(found, marks=marks), "mouth-front")
    assert axes.get_xlim()[0] < 0
    assert axes.images[0].get_extent()[0] == -0.5


def test_dark_pictures_are_lightened_and_it_is_said(fake) -> None:
    assert "lightened" in panel(fake(brightness=40, depth=False).make(), "mouth-front").get_xlabel()
    assert "lightened" not in panel(fake(brightness=200, depth=False).make(), "mouth-front").get_xlabel()
    steps = np.arange(60, dtype=np.uint8).reshape(6, 10, 1)
    brighter, gain = lifted(steps)
    assert gain > 1.0
    assert (np.diff(brighter.ravel().astype(int)) >= 0).all()


def test_corner_codes_do_not_overlap(fake) -> None:
    figure = panel_figures(fake(views=("left", "right"), depth=False).make())["mouth-left"]
    figure.canvas.draw()
    codes = [text for text in figure.axes[0].texts if text.get_text()[:2] in ("11", "21", "31", "41")]
    assert len(codes) == 8
    boxes = [text.get_window_extent() for text in codes]
    for k, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[k + 1 :])


def test_hidden_corners_show_no_click(fake) -> None:
    found = fake(depth=False).make()
    mark = CornerMark("front", "11d", "hidden", (450.0, 640.0), (452.0, 636.0), (452.0, 634.0))
    axes = panel(replace(found, marks=(mark,)), "mouth-front")
    drawn = {line.get_markeredgecolor() for line in axes.lines}
    assert MEASURED.colour not in drawn
    assert BEFORE.colour in drawn
    assert any(text.get_text() == "11d\nhidden" for text in axes.texts)


def test_findings_that_do_not_fit_are_counted(fake) -> None:
    from bite.check.panels.findings import draw_findings

    many = tuple(Finding(f"check-{k}", Severity.WARN, "Something was found here. " * 4) for k in range(12))
    figure = blank_figure(8.0, 4.0)
    axes = figure.add_axes((0.05, 0.1, 0.3, 0.7))
    draw_findings(axes, fake(findings=many).make())
    written = [text.get_text() for text in axes.texts]
    heads = sum(text.startswith("WARN") for text in written)
    assert 0 < heads < 12
    assert any(f"and {12 - heads} more" in text for text in written)
