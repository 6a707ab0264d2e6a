"""The figure as a whole: what a reader must find in it, and that files come out the same every time."""

from dataclasses import replace
from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image

from bite.check.before_after import before_after_figure, head_lines
from bite.check.single_panels import panel_figures
from bite.check.steps import check_frame
from bite.errors import InputError
from bite.files.bundle import load_frame
from bite.plots.saving import figure_bytes, save_figure
from bite.plots.style import AFTER, DPI, PAGE_IN, READ_PT
from bite.stats.estimate import Estimate
from tests.check.told.conftest import EARNED, FINDINGS, GAPED, Fake

DEMO = Path(__file__).resolve().parents[3] / "demo_bite"


def texts(figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text) if text.get_visible() and text.get_text()]


def drawn_texts(figure) -> list:
    found = list(figure.texts)
    for axes in figure.axes:
        found += [*axes.texts, axes.title, axes._left_title]
        if axes.axison:
            found += [axes.xaxis.label, axes.yaxis.label]
            for axis, ends in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
                # where the axes beside tell the numbers, there are places and no labels
                ticks = zip(axis.get_majorticklocs(), axis.get_ticklabels(), strict=False)
                found += [label for at, label in ticks if min(ends) <= at <= max(ends)]
    return [text for text in found if text.get_visible() and text.get_text().strip()]


def cases() -> dict[str, Fake]:
    return {
        "move": Fake(),
        "beyond": Fake(offset=Estimate(4.1, 0.2)),
        "unsure": Fake(offset=Estimate(1.4, 2.6), depth=False),
        "reshoot": Fake(findings=(GAPED, *Fake().findings)),
        "usable": Fake(
            findings=FINDINGS + EARNED,
            solved=False,
            offset=None,
            depth=False,
            clicked=False,
            px_per_mm=None,
        ),
        "no_offset": Fake(offset=None),
        "two_views": Fake(views=("left", "right"), depth=False),
        "three_views": Fake(views=("left", "right", "low")),
        "no_readings": Fake(holes=True),
        "no_dial": Fake(dial=None),
    }


@cache
def page(case: str) -> Figure:
    """Draw a case's page, once for all tests that only read it."""
    return before_after_figure(cases()[case].make())


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        "move",
        "beyond",
        "unsure",
        "reshoot",
        "usable",
        "no_offset",
        "two_views",
        "three_views",
        "no_readings",
        "no_dial",
    ],
)
def test_no_text_leaves_the_paper_and_no_axes_are_empty(name: str) -> None:
    figure = page(name)
    figure.canvas.draw()
    paper = figure.bbox
    for text in drawn_texts(figure):
        box = text.get_window_extent()
        assert box.x0 >= -1, text.get_text()
        assert box.x1 <= paper.width + 1, text.get_text()
        assert box.y0 >= -1, text.get_text()
        assert box.y1 <= paper.height + 1, text.get_text()
    for axes in figure.axes:
        if axes.axison and not axes.images and not axes.get_xlabel().startswith("dial value"):
            assert all(label.get_fontsize() >= READ_PT for label in axes.get_xticklabels())
            drawn = [line for line in axes.lines if np.isfinite(np.asarray(line.get_ydata(), float)).any()]
            assert drawn, axes.get_title(loc="left")
        assert np.isfinite([*axes.get_xlim(), *axes.get_ylim()]).all()


@pytest.mark.slow
@pytest.mark.parametrize("views", [("front",), ("left", "right")])
def test_notes_under_a_picture_leave_the_panels_below_free(views: tuple[str, ...], fake) -> None:
    figure = before_after_figure(fake(views=views, brightness=40).make())
    figure.canvas.draw()
    notes = [axes.xaxis.label for axes in figure.axes if axes.images]
    assert all("dotted" in note.get_text() and "lightened" in note.get_text() for note in notes)
    others = [text.get_window_extent() for text in drawn_texts(figure) if text not in notes]
    for note in notes:
        assert not any(note.get_window_extent().overlaps(other) for other in others), note.get_text()


def test_title_is_the_finding_with_its_numbers() -> None:
    written = texts(page("move"))
    title = "MOVE - move the teeth 1.42 +- 0.11 mm forward: set the dial from 0.00 to -0.44"
    assert any(title in " ".join(t.split()) for t in written)
    assert any("+1.42 +- 0.11 mm" in t and "+1.20 to +1.64 mm" in t for t in written)


def test_each_thing_is_named_in_words_beside_it() -> None:
    written = texts(page("move"))
    for word in (
        "clicked",
        "solved before",
        "solved after",
        "measured ±2 sd",
        "enamel",
        "10 mm",
        "end",
    ):
        assert word in written
    # once in the photograph, once over how far off it is
    assert sum(t.startswith("11d") for t in written) == 2


@pytest.mark.parametrize(
    ("case", "sentence"),
    [
        ("usable", "No depth map or profile was given"),
        ("usable", "No offset can be given: no solved model was given."),
        ("usable", "no corners clicked in this view"),
        ("no_offset", "Depth and solved model could not be compared"),
        ("two_views", "No depth map or profile was given"),
        ("unsure", "NOT ADVISED"),
        ("no_readings", "measured: no readings here"),
        ("no_dial", "no dial value can be given"),
        ("reshoot", "NOT ADVISED"),
        ("three_views", "Not drawn here: low (corners off by"),
    ],
)
def test_what_is_missing_is_said(case: str, sentence: str) -> None:
    written = " ".join(" ".join(texts(page(case))).split())
    assert sentence in written


@pytest.mark.slow
def test_the_stamp_of_a_refusal_hides_no_picture() -> None:
    for name in ("unsure", "reshoot"):
        figure = page(name)
        figure.canvas.draw()
        [stamp] = [t for t in figure.findobj(Text) if t.get_text().split() == ["NOT", "ADVISED"]]
        box = stamp.get_bbox_patch().get_window_extent()
        others = [axes for axes in figure.axes if axes is not stamp.axes and axes.axison]
        assert not any(box.overlaps(axes.get_window_extent()) for axes in others), name


def test_where_nothing_moves_there_is_no_before() -> None:
    written = texts(page("unsure"))
    assert "solved" in written and "solved before" not in written


def test_it_says_why_there_is_no_line_across(fake) -> None:
    found = fake().make()
    up_only = replace(found, sections=found.sections[:1])
    written = " ".join(" ".join(texts(before_after_figure(up_only))).split())
    assert "On no line across does half a crown's width of upper enamel show" in written
    profile = replace(up_only, frame=replace(found.frame, profile=object()))
    written = " ".join(" ".join(texts(before_after_figure(profile))).split())
    assert "The depth was given along one line only." in written


@pytest.mark.parametrize("name", ["unsure", "reshoot"])
def test_a_refusal_tells_its_reason_before_any_number_and_draws_no_advice(name: str) -> None:
    title, why, numbers = head_lines(cases()[name].make())
    assert why and numbers and numbers[0].startswith("not advised: offset")
    assert not any(sign.isdigit() for sign in "".join(title).partition(":")[2])
    figure = page(name)
    [stamp] = [t for t in figure.findobj(Text) if t.get_text().split() == ["NOT", "ADVISED"]]
    assert stamp.get_fontsize() > 1.5 * max(t.get_fontsize() for t in figure.findobj(Text) if t is not stamp)
    colours = {line.get_color() for axes in figure.axes for line in axes.lines}
    colours |= {text.get_color() for text in figure.findobj(Text)}
    assert AFTER.colour not in colours
    assert AFTER.colour in {line.get_color() for axes in page("move").axes for line in axes.lines}


@pytest.mark.slow
def test_a_name_with_signs_of_formulas_is_written_as_it_is(fake) -> None:
    figure = before_after_figure(fake(name="take_$5^2$ \\frac{").make())
    assert figure_bytes(figure)
    assert any("take_$5^2$ \\frac{" in text for text in texts(figure))


@pytest.mark.slow
def test_same_assessment_same_bytes_without_date_or_program(fake) -> None:
    found = fake().make()
    first, second = (figure_bytes(before_after_figure(found)) for _ in range(2))
    assert first == second
    with Image.open(BytesIO(first)) as image:
        assert image.size == (PAGE_IN[0] * DPI, PAGE_IN[1] * DPI)
        assert set(image.info) <= {"dpi"}


@pytest.mark.slow
def test_settings_of_the_user_do_not_reach_the_figure(fake) -> None:
    import matplotlib

    found = fake().make()
    plain = figure_bytes(before_after_figure(found))
    with matplotlib.rc_context({"font.size": 20, "axes.titleweight": "normal", "xtick.labelsize": 15}):
        assert figure_bytes(before_after_figure(found)) == plain


@pytest.mark.slow
def test_saving_is_whole_or_not_at_all(fake, tmp_path) -> None:
    figure = before_after_figure(fake(depth=False, clicked=False).make())
    path = tmp_path / "tern-a07.png"
    save_figure(figure, path)
    assert [file.name for file in tmp_path.iterdir()] == ["tern-a07.png"]
    assert path.read_bytes() == figure_bytes(figure)
    with pytest.raises(InputError):
        save_figure(figure, tmp_path / "nowhere" / "a.png")


def test_panels_come_one_by_one(fake) -> None:
    figures = panel_figures(fake(views=("left", "right")).make())
    assert list(figures) == [
        "mouth-left", "mouth-right", "reprojection-left", "reprojection-right", "crowns", "across-incisors",
        "dial", "findings",
    ]  # fmt: skip
    assert all(any("MOVE" in text for text in texts(figure)) for figure in figures.values())
    assert "crowns" not in panel_figures(fake(depth=False).make())


@pytest.mark.slow
@pytest.mark.parametrize("name", ["tern/tern-a07", "plover/plover-b02", "knot/knot-b05"])
def test_no_name_of_a_corner_lies_over_a_clicked_circle(name: str) -> None:
    found = check_frame(load_frame(DEMO / f"{name}.bite.toml"))
    figure = before_after_figure(found)
    renderer = figure.canvas.get_renderer()
    close = next(axes for axes in figure.axes if any(t.get_text().startswith("11d") for t in axes.texts))
    places = [m.clicked_px for m in found.marks if m.clicked_px is not None and m.state != "landmark"]
    for text in close.texts:
        if text.get_text()[:2] in ("11", "21", "31", "41"):
            box = text.get_window_extent(renderer)
            for x, y in close.transData.transform(places):
                assert not box.padded(2.0).contains(x, y), text.get_text()
