"""The cast on paper: every frame with its picture and what to type, and thousands do not make it endless."""

from dataclasses import replace

import pytest

from bite.cast.content import FailedFrame, FailureKind
from bite.cast.run import Rows, cast_content, frames_of, run_frames
from bite.cast.runner.settings import CastSettings
from bite.cast.sheets.pdf import MOST_FAILURES, cast_pdf
from bite.cast.sheets.pdf_frames import frame_sheets
from bite.files.cast import read_cast

pdfium = pytest.importorskip("pypdfium2", reason="pypdfium2 turns a sheet into a picture")


@pytest.mark.slow
def test_each_frame_has_its_picture_and_its_dial_value(small):
    document = pdfium.PdfDocument(str(small / "cast.pdf"))
    pictured = {}
    for sheet in document:
        pictures = [o for o in sheet.get_objects() if o.type == pdfium.raw.FPDF_PAGEOBJ_IMAGE]
        text = sheet.get_textpage().get_text_bounded()
        if pictures:
            assert len(pictures) == 2
            # 180 dots an inch on paper
            assert min(p.get_bitmap().width / (p.get_bounds()[2] - p.get_bounds()[0]) for p in pictures) > 2.5
            pictured |= {name: text for k in (1, 2, 3) for n in (0, 1) if (name := f"p{k}-000{n}") in text}
    assert len(pictured) == 6
    assert all("type this dial value:" in text and "95 % interval" in text for text in pictured.values())


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
    first, last = frame_sheets([replace(rows[0], name=f"f{k:03d}") for k in range(6)], "0")
    assert not any("more frames" in t.get_text() for t in first.texts)
    assert any("3 more frames are in cast.html" in t.get_text() for t in last.texts)
