"""Where the sections lie: through crowns and never between them, and where enamel shows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bite.check.sections import ACROSS, CROWNS, Section, _mean_of, crown_middles
from bite.check.steps import check_frame
from bite.evidence.model.head import solved_head
from bite.files.bundle import load_frame
from bite.fit.head import Head
from bite.geometry.rigid import frozen

DEMO = Path(__file__).parents[2] / "demo_bite"


def head(**corners: list[float]) -> Head:
    none = np.zeros((0, 3))
    return Head(
        none, none.astype(np.int32), np.zeros(0, np.int8), np.zeros(0, bool), np.array([0.0, 0, -1]),
        np.array([1.0, 0, 0]), np.array([0.0, -1, 0]), np.array([0.0, 0, 300]),
        {code: np.array(at) for code, at in corners.items()}, {},
    )  # fmt: skip


@pytest.mark.parametrize(
    "corners",
    [
        {"11d": [-9, 0, 301], "11m": [-1, 0, 300], "21m": [1, 0, 300], "21d": [9, 0, 301]},
        {"11d": [-9, 0, 301], "21d": [9, 0, 301]},
        {"11d": [-9, 0, 301]},
        {"21m": [0.5, 0, 300]},
        {},
    ],
)
def test_lines_run_up_through_crowns_and_not_between_them(corners: dict) -> None:
    right, left = crown_middles(head(**corners))
    # within the middle half of a crown 8.6 mm wide on either side of the midline
    assert -6.5 < right[0] < -2.1
    assert 2.1 < left[0] < 6.5
    assert abs(right[1]) < 1e-9


def line(measured: list[float], sd: float = 0.2, teeth: bool = True) -> Section:
    n = len(measured)
    values = frozen(np.array(measured))
    return Section(
        CROWNS, np.arange(n) * 1.0, values, np.full(n, sd), values + 1.0, values, values + 1.0, values,
        np.full(n, teeth), (np.zeros((n, 3)),),
    )  # fmt: skip


def test_the_mean_of_two_lines_stands_on_one_where_the_other_has_no_reading() -> None:
    nan = float("nan")
    mean = _mean_of(line([300.0, 301.0, nan, nan]), line([302.0, nan, 303.0, nan]))
    np.testing.assert_allclose(mean.measured_mm, [301.0, 301.0, 303.0, nan])
    np.testing.assert_allclose(mean.measured_sd_mm[:3], [0.2 / np.sqrt(2), 0.2, 0.2])
    # the prediction is averaged over the same lines as the reading that it stands beside
    np.testing.assert_allclose(mean.ahead_mm(after=False)[:3], 1.0)
    np.testing.assert_allclose(mean.ahead_mm(after=True)[:3], 0.0)
    assert len(mean.lines_mm) == 2


@pytest.mark.slow
@pytest.mark.parametrize("frame", ["plover/plover-b02", "phalarope/phalarope-b09"])
def test_on_enamel_the_strip_shows_the_planted_move_and_nothing_after_it(frame: str) -> None:
    found = check_frame(load_frame(DEMO / f"{frame}.bite.toml"))
    names = [section.name for section in found.sections]
    assert names == [CROWNS, ACROSS], "a thin strip has a line across too, where its enamel is"
    for section in found.sections:
        assert section.teeth.any()
        ahead = [np.nanmedian(section.ahead_mm(after=after)[section.teeth]) for after in (False, True)]
        # the sensor's blur takes away from a move on a thin strip, but neither its sign nor most of it
        assert 0.4 < ahead[0] / found.moved_mm < 1.4
        assert abs(ahead[1]) < 0.35


@pytest.mark.slow
def test_a_mouth_that_shows_no_upper_enamel_has_no_line_across() -> None:
    from bite.check import sections as module
    from bite.geometry.teeth import SKIN, UPPER

    frame = load_frame(DEMO / "phalarope/phalarope-b09.bite.toml")
    solved = solved_head(frame)
    assert solved is not None
    found = check_frame(frame)
    assert found.fit is not None and found.fit.depth_block is not None
    block = found.fit.depth_block
    parts = block.head.face_part
    skin_only = replace(block.head, face_part=np.where(parts == UPPER, SKIN, parts))
    cut = module.map_sections(replace(block, head=skin_only), found.fit.parameters, 0.0)
    assert [section.name for section in cut] == [CROWNS]
