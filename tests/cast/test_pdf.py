"""The cast on paper: every frame with its picture and what to type, and thousands do not make it endless."""

from dataclasses import replace

import pytest

from bite.cast.content import FailedFrame, FailureKind
from bite.cast.run import Rows, cast_content, frames_of, run_frames
from bite.cast.runner.settings import CastSettings
from bite.cast.sheets.flow import Line, Piece, broken, pages, table, width_in
from bite.cast.sheets.pdf import MOST_FAILURES, cast_pdf
from bite.cast.sheets.pdf_frames import frame_sheets
from bite.files.cast import read_cast

pdfium = pytest.importorskip("pypdfium2", reason="pypdfium2 turns a sheet into a picture")


@pytest.mark.slow
def test_each_frame_has_a_page_with_its_pictures_and_its_dial_value(small):
    document = pdfium.PdfDocument(str(small / "cast.pdf"))
    pictured = {}
    for sheet in document:
        pictures = [o for o in sheet.get_objects() if o.type == pdfium.raw.FPDF_PAGEOBJ_IMAGE]
        text = sheet.get_textpage().get_text_bounded()
        if pictures:
            # before, after, and the check
            assert len(pictures) == 3
            # 165 dots an inch on paper
            assert min(p.get_bitmap().width / (p.get_bounds()[2] - p.get_bounds()[0]) for p in pictures) > 2.3
            (name,) = (n for k in (1, 2, 3) for e in (0, 1) if f"{(n := f'p{k}-000{e}')} (" in text)
            pictured[name] = text
    assert len(pictured) == 6
    assert all("95 % interval" in text for text in pictured.values())
    speaking = [text for text in pictured.values() if "type this dial value:" in text]
    alone = [text for text in pictured.values() if "this frame alone asks for" in text]
    assert len(speaking) == len(alone) == 3


@pytest.mark.slow
def test_every_page_is_a4_and_says_which_it_is(small):
    document = pdfium.PdfDocument(str(small / "cast.pdf"))
    for number, sheet in enumerate(document, 1):
        assert sheet.get_size() == pytest.approx((595.4, 841.7), abs=0.5)
        assert f"page {number} of {len(document)}" in sheet.get_textpage().get_text_bounded()


@pytest.mark.slow
def test_thousands_of_failures_and_frames_keep_it_short(small, monkeypatch):
    cast = read_cast(small / "cast.toml")
    settings = CastSettings(
        cast.tolerance_mm, cast.performance_device, cast.devices, small, None, small / ".bite-cast"
    )
    rows = run_frames(frames_of(cast, settings), settings, jobs=1, told=lambda _: None).rows
    bad = tuple(
        FailedFrame(f"x{k:05d}", FailureKind.INPUT, f"x{k:05d}: is no bite frame") for k in range(10_000)
    )
    content = cast_content(cast, Rows(rows[:1], bad), settings)
    document = pdfium.PdfDocument(cast_pdf(content))
    text = "".join(sheet.get_textpage().get_text_bounded() for sheet in document)
    assert f"and {10_000 - MOST_FAILURES} more: see cast.html" in text and len(document) < 10
    monkeypatch.setattr("bite.cast.sheets.pdf_frames.MOST_PICTURED", 3)
    many = tuple(replace(rows[0], name=f"f{k:03d}") for k in range(6))
    first, _, last = (draw() for draw in frame_sheets(cast_content(cast, Rows(many, ()), settings)))
    assert not any("more frames" in t.get_text() for t in first.texts)
    assert any("3 more frames are in cast.html" in t.get_text() for t in last.texts)


def test_words_are_broken_to_fit_and_none_is_lost():
    text = "a sentence of some length, and a_word_that_is_wider_than_any_line_could_ever_be"
    lines = broken(text, 1.5)
    assert len(lines) > 3 and all(width_in(line) <= 1.5 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_page_that_a_table_runs_onto_starts_with_its_head():
    rows = [(f"row {k}", "x") for k in range(150)]
    filled = pages(table((("Name", 2.0), ("What", 2.0)), rows))
    assert len(filled) == 3
    assert all(page[0].pieces[0].text == "Name" for page in filled)
    told = [line.pieces[0].text for page in filled for line in page[1:]]
    assert told == [f"row {k}" for k in range(150)]
    # a heading does not end a page
    head = Line((Piece("head"),), holds=True)
    lines = [*(Line((Piece("x"),)) for _ in range(59)), head, Line((Piece("y"),))]
    assert all(page[-1].pieces[0].text != "head" for page in pages(lines))
