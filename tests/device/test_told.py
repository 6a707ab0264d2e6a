"""The whole text of the demo's two cards, the picture's panels, and what the text says in doubt."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bite.device.figure import device_figure, panel_figures
from bite.device.measured import DeviceMeasured, measure_device
from bite.device.told import device_text, headline, note, toml_lines
from bite.device.which_filter import Verdict
from bite.files.bundle import load_frame
from bite.files.device_table import table_text
from demo_bite.scene.card import CARDS, write_cards

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def found() -> DeviceMeasured:
    cards = [ROOT / "demo_bite" / "cards" / card.name / f"{card.name}.bite.toml" for card in CARDS]
    return measure_device([load_frame(path) for path in cards])


@pytest.mark.slow
def test_golden(found: DeviceMeasured) -> None:
    text = device_text(found) + "\n" + table_text(found.device, note(found), toml_lines(found))
    assert text == (ROOT / "tests" / "golden" / "device_cards.txt").read_text(encoding="utf-8")


@pytest.mark.slow
def test_what_was_planted_is_found(found: DeviceMeasured) -> None:
    planted = CARDS[0]
    assert found.verdict.filter == "gauss"
    assert abs(found.smoothing_px - planted.smoothing_px) < 3 * found.smoothing_sd_px
    for card in found.cards:
        for flat in (card.card, card.wall):
            noise_mm = planted.noise_mm_at_400 * (flat.distance_mm / 400) ** 2
            assert abs(flat.noise_mm - noise_mm) < 4 * flat.noise_sd_mm
            assert abs(flat.correlation_px - planted.correlation_px) < 4 * flat.correlation_sd_px


def test_the_committed_cards_are_made_again(tmp_path: Path) -> None:
    write_cards(tmp_path)
    made = {p.relative_to(tmp_path): p.read_bytes() for p in tmp_path.rglob("*") if p.suffix == ".toml"}
    folder = ROOT / "demo_bite" / "cards"
    assert made and all((folder / name).read_bytes() == data for name, data in made.items())


@pytest.mark.slow
def test_doubt_is_in_the_first_line(found: DeviceMeasured) -> None:
    blurred = replace(found, verdict=Verdict(None, False, "two explain it alike", {}))
    assert "it smooths by 2.00 +- 0.01 px, and the kind of filter cannot be told" in headline(blurred)
    sharp = replace(found, verdict=Verdict(None, True, "sharp", {}), smoothing_px=0.02, smoothing_sd_px=1.5)
    assert "its step is sharp (0.02 +- 1.50 px), and the kind of filter cannot be told" in headline(sharp)
    assert "cannot tell: sharp" in device_text(sharp)
    assert "CAUTION" in device_text(replace(found, apart=True))
    assert "add a card at another" in device_text(replace(found, law=None))


@pytest.mark.slow
def test_the_picture_has_each_panel_with_units(found: DeviceMeasured) -> None:
    figure = device_figure(found)
    labels = [axes.get_xlabel() + axes.get_ylabel() for axes in figure.axes]
    assert sum("px" in label or "mm" in label for label in labels) >= 4
    assert headline(found).split(",")[0] in figure.texts[0].get_text().replace("\n", " ")
    assert set(panel_figures(found)) == {"edge", "edge-off", "flat", "noise"}
