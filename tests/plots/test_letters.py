"""Names in any script on paper: nothing is drawn as a box, and names that differ stay apart."""

import warnings

import pytest

from bite.plots import letters
from bite.plots.letters import in_latin, in_order_of_the_eye, on_paper
from bite.plots.saving import figure_bytes
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


def test_arabic_letters_are_joined_and_run_from_the_right() -> None:
    # meem initial, hah medial, meem medial, dal final (Unicode, Arabic Presentation Forms-B), then turned
    assert on_paper("محمد")[0] == "\ufeaa\ufee4\ufea4\ufee3"
    # dal and reh do not join what follows
    assert on_paper("دار")[0] == "\ufead\ufe8d\ufea9"


def test_one_sign_for_plus_or_minus() -> None:
    figure = blank_figure(3.0, 1.0)
    figure.text(0.1, 0.5, "offset +1.42 +- 0.13 mm")
    figure_bytes(figure)
    assert figure.texts[0].get_text() == "offset +1.42 ± 0.13 mm"


def test_marks_and_unnamed_letters() -> None:
    assert in_latin("\u0301") == "" and in_latin("\ue000") == "E000·"
