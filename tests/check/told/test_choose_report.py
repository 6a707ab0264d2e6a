"""The table and the sheet of a ranked take, from content made by hand."""

from io import BytesIO

import numpy as np
import pytest
from matplotlib.image import imread

from bite.choose.carry import CarriedPoint
from bite.choose.content import Chosen, Measures, Ranked, Standing
from bite.choose.sheet import MOST, sheet_png
from bite.choose.text import one_line, table
from bite.files.corners import CornerState


def _ranked(rank, number, standing, cost=0.1):
    points = {
        "11d": CarriedPoint(60.0, 50.0, CornerState.SEEN, 0.5, 0.2),
        "21d": CarriedPoint(95.0, 50.0, CornerState.UNSURE, 0.5, 0.2),
    }
    known = standing is not Standing.UNJUDGED and cost is not None
    measures = Measures(
        number, f"take-f{number:05d}", None, points=points if known else None,
        middle_px=(77.0, 50.0) if known else None, mm_per_px=0.5 if known else None,
        sd_mm=cost, enamel_mm2=700.0, motion_px=0.4, clipped=0.02, edge_px=1.2,
    )  # fmt: skip
    return Ranked(rank, measures, standing, cost, "a long reason that is told in words, " * 3)


def _chosen(*ranked):
    return Chosen("take", len(ranked), 4, tuple(ranked), ("a note",), False)


def _picture():
    rng = np.random.default_rng(0)
    return rng.integers(0, 255, (120, 160, 3)).astype(np.uint8)


@pytest.mark.parametrize(
    "standing, word",
    [
        (Standing.FIT, "BEST - frame 4 (take-f00004), expected sampling sd 0.10 mm"),
        (Standing.DOUBTFUL, "DOUBTFUL - frame 4"),
        (Standing.UNFIT, "NONE FIT - of 1 frames none can be a bite frame"),
        (Standing.UNJUDGED, "NOT JUDGED - stillest and sharpest is frame 4"),
    ],
)
def test_one_line_says_how_the_best_stands(standing, word):
    assert word in one_line(_chosen(_ranked(1, 4, standing)))


def test_the_table_has_a_row_and_a_reason_for_each_and_counts_the_rest():
    ranked = [_ranked(k + 1, k, Standing.FIT, 0.1 + 0.01 * k) for k in range(5)]
    text = table(_chosen(*ranked), 3)
    assert text.count("a long reason") == 9 and "and 2 more, all in take.choose.json" in text
    assert "0.120" in text and "0.130" not in text


def test_unknown_values_are_a_dash_and_never_a_zero():
    lost = Ranked(1, Measures(0, "f", None), Standing.UNFIT, None, "the teeth were not found again")
    row = table(_chosen(lost), 1).splitlines()[3]
    assert row.split()[4:] == ["-"] * 5


@pytest.mark.slow
def test_the_sheet_is_1600_px_wide_and_the_same_bytes_each_time():
    ranked = [_ranked(k + 1, k, Standing.FIT, 0.1 + 0.01 * k) for k in range(4)]
    ranked.append(_ranked(5, 9, Standing.UNFIT, None))
    pictures = {one.measures.number: _picture() for one in ranked}
    first = sheet_png(_chosen(*ranked), ranked, pictures, "the finding")
    assert first == sheet_png(_chosen(*ranked), ranked, pictures, "the finding")
    assert imread(BytesIO(first)).shape[1] == 1600


@pytest.mark.slow
def test_a_sheet_of_frames_that_nobody_clicked_or_that_cannot_be_read_is_drawn_too():
    ranked = [_ranked(k + 1, k, Standing.UNJUDGED, None) for k in range(MOST + 3)]
    pictures = {k: _picture() for k in range(MOST + 3)}
    whole = imread(BytesIO(sheet_png(_chosen(*ranked), ranked, pictures, "not judged")))
    none = imread(BytesIO(sheet_png(_chosen(*ranked), ranked, {}, "not judged")))
    assert whole.shape[0] > 2 * none.shape[0]
