"""Which drawing made a picture: any change of the code that draws is another one."""

from pathlib import Path

import numpy as np
import pytest

import bite
from bite.check.page_file import is_drawn_as_now, page_png
from bite.plots.drawn_as import drawing_of
from bite.plots.png import note_in, png_bytes
from tests.check.told.conftest import Fake


@pytest.fixture
def code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Give a function that writes a module of a package that draws, and says what its drawing is called."""
    monkeypatch.setattr(bite, "__file__", str(tmp_path / "__init__.py"))
    (tmp_path / "plots").mkdir()

    def written(**texts: str) -> str:
        for name, text in texts.items():
            (tmp_path / "plots" / f"{name}.py").write_bytes(text.encode())
        return drawing_of.__wrapped__("plots", "words.py")

    return written


def test_another_code_is_another_drawing(code) -> None:
    first = code(a="x = 1\n", b="y = 2\n")
    assert code(a="x = 1\r\n") == first, "line ends are not drawn"
    assert len({first, code(a="x = 2\n"), code(a="x = 1\n", c="")}) == 3
    assert code(c="") != first


def test_a_page_says_which_drawing_made_it(tmp_path: Path) -> None:
    made = page_png(Fake(depth=False, clicked=False).make())
    page = tmp_path / "a.before-after.png"
    page.write_bytes(made)
    assert is_drawn_as_now(page)
    page.write_bytes(made.replace(note_in(made).encode(), b"0" * 12))
    assert not is_drawn_as_now(page)
    page.write_bytes(png_bytes(np.full((9, 9, 4), 255, np.uint8), 200.0))
    assert not is_drawn_as_now(page)
    assert not is_drawn_as_now(tmp_path / "nowhere.png")
    page.write_bytes(made[:40])
    assert not is_drawn_as_now(page)


def test_what_the_note_names_is_there() -> None:
    from bite.cast import mouth_pictures
    from bite.check import page_file

    for place in (*page_file._DRAWN_BY, *mouth_pictures._DRAWN_BY):
        assert (Path(bite.__file__).parent / place).exists(), place
