"""Names in any script on paper: nothing is drawn as a box, and names that differ stay apart."""

import warnings

import numpy as np
import pytest

from bite.plots import letters
from bite.plots.letters import in_latin, in_order_of_the_eye, on_paper
from bite.plots.saving import figure_bytes, figure_pixels
from bite.plots.style import blank_figure


@pytest.fixture
def house_font_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(letters, "_font_with", lambda letter: "")


@pytest.mark.parametrize(
    "name", ["田中", "김민준", "สมชาย", "שרה כהן", "محمد", "Ωμέγα", "O'Brien-Łukasz", "देवी"]
)
def test_no_name_is_drawn_as_boxes(name: str, house_font_only: None) -> None:
    figure = blank_figure(3.0, 1.0)
    figure.text(0.1, 0.5, f"{name}-a01: MOVE")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert figure_bytes(figure)


def test_names_that_differ_stay_apart_without_any_font_for_them(house_font_only: None) -> None:
    names = ["田中", "田仲", "山田", "たなか", "さくら", "김민준", "김민서", "سارة", "سارا", "שרה", "שירה"]
    drawn = {on_paper(name)[0] for name in names}
    assert len(drawn) == len(names)
    assert on_paper("たなか")[0] == "tanaka"


def test_a_font_that_has_the_letters_is_used_where_one_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(letters, "_font_with", lambda letter: "Some Gothic")
    assert on_paper("田中-a01") == ("田中-a01", ("DejaVu Sans", "Some Gothic"))


def test_hebrew_runs_from_the_right_and_the_sentence_around_it_from_the_left() -> None:
    assert in_order_of_the_eye("שרה-12: MOVE") == "הרש-12: MOVE"
    assert in_order_of_the_eye("see שרה 12 כהן (a)") == "see ןהכ 12 הרש (a)"
    assert in_order_of_the_eye("tern-a07") == "tern-a07"


def test_arabic_letters_are_joined_and_run_from_the_right(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(letters, "_shapes_itself", lambda: False)
    # meem initial, hah medial, meem medial, dal final (Unicode, Arabic Presentation Forms-B), then turned
    assert on_paper("محمد")[0] == "\ufeaa\ufee4\ufea4\ufee3"
    # dal and reh do not join what follows
    assert on_paper("دار")[0] == "\ufead\ufe8d\ufea9"


def test_where_matplotlib_shapes_by_itself_the_letters_stay_and_the_line_runs_from_the_left(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(letters, "_shapes_itself", lambda: True)
    assert on_paper("محمد-a01: MOVE")[0] == "\u200eمحمد-a01: MOVE"
    assert on_paper("Ωμέγα")[0] == "Ωμέγα"


@pytest.mark.parametrize("itself", [False, True])
def test_a_figure_drawn_twice_is_the_same(itself: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(letters, "_shapes_itself", lambda: itself)
    figure = blank_figure(3.0, 1.0)
    figure.text(0.1, 0.5, "שרה-a01: MOVE")
    first = figure_bytes(figure)
    assert figure_bytes(figure) == first


def test_a_name_from_the_right_leads_its_sentence_from_the_left() -> None:
    """Ink of the name stands at the left end: whoever lays it out, we or matplotlib."""
    left = {}
    for words in ("שרה: MOVE", "MOVE"):
        figure = blank_figure(3.0, 1.0)
        figure.text(0.1, 0.5, words, fontsize=20)
        ink = figure_pixels(figure)[..., 0] < 128
        left[words] = np.flatnonzero(ink.any(0))
    whole, word = left["שרה: MOVE"], left["MOVE"]
    # the last letters are those of the Latin word, as they stand alone
    assert whole[-1] - word[-1] > 30
    for words in ("שרה: M", "M"):
        figure = blank_figure(3.0, 1.0)
        figure.text(0.1, 0.5, words, fontsize=20)
        ink = figure_pixels(figure)[..., 0] < 128
        end = np.flatnonzero(ink.any(0))[-1]
        left[words] = ink[:, end - 30 : end + 1].any(1)
    np.testing.assert_array_equal(left["שרה: M"], left["M"])


def test_one_sign_for_plus_or_minus() -> None:
    figure = blank_figure(3.0, 1.0)
    figure.text(0.1, 0.5, "offset +1.42 +- 0.13 mm")
    figure_bytes(figure)
    assert figure.texts[0].get_text() == "offset +1.42 ± 0.13 mm"


def test_marks_and_unnamed_letters() -> None:
    assert in_latin("\u0301") == "" and in_latin("\ue000") == "uE000·"
