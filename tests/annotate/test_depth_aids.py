"""Depth in mm at the cursor, its colours and its column; and all of the window without a pointer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bite.annotate.drawing.depth_layer import STEP_MM, colours_of, depth_layer
from bite.annotate.drawing.depth_section import draw_section, section_area
from bite.annotate.drawing.draw_marks import SOLVED_BEFORE
from bite.annotate.state.answer import Answer
from bite.annotate.state.view import Area
from bite.files.bundle import BiteFrame
from bite.files.depth import DepthMap
from bite.plots.style import MEASURED
from tests.annotate.support import Hand, bench_of_frame, frame_of, grey_picture, hand_on


def frame_with_depth(folder: Path) -> BiteFrame:
    """Depth that falls by 0.01 mm a row from 310 mm, with a hole in the middle of the right half."""
    frame = frame_of([grey_picture()], folder)
    depth = np.tile(310.0 - 0.01 * np.arange(480.0)[:, None], (1, 640))
    depth[200:280, 400:480] = np.nan
    map_ = DepthMap(folder / "d.tiff", depth, 0.0)
    return replace(frame, depth_map=map_, depth_camera=frame.views[0].camera, depth_view="front")


@pytest.fixture
def deep(tmp_path: Path) -> Hand:
    return hand_on(bench_of_frame(frame_with_depth(tmp_path)))


def test_depth_stands_beside_the_cursor(deep: Hand) -> None:
    deep.key("d")
    for row in (10.0, 100.0, 300.0):
        deep.move(deep.on_screen((100.0, row)))
        pointer = deep.bench.loupe_pointer()
        assert pointer is not None
        assert float(pointer.told.removesuffix(" mm")) == pytest.approx(310.0 - 0.01 * row, abs=0.011)
    deep.move(deep.on_screen((440.0, 240.0)))
    pointer = deep.bench.loupe_pointer()
    assert pointer is not None and pointer.told == "no reading"
    deep.key("d")
    pointer = deep.bench.loupe_pointer()
    assert pointer is not None and pointer.told == ""


def test_colours_tell_a_fifth_of_a_millimetre_apart_over_the_whole_scale(tmp_path: Path) -> None:
    frame = frame_with_depth(tmp_path)
    layer = depth_layer(frame, frame.views[0], (300.0, 240.0), 30.0)
    assert layer is not None
    assert (layer.nearest_mm + layer.farthest_mm) / 2 == pytest.approx(307.6, abs=0.05)
    span = layer.farthest_mm - layer.nearest_mm
    steps = layer.nearest_mm + STEP_MM * (np.arange(int(span / STEP_MM)) + 0.5)
    colours = colours_of(steps, layer.nearest_mm, span).astype(int)
    assert (np.abs(np.diff(colours, axis=0)).sum(1) >= 5).all()


def test_the_column_is_what_the_map_holds_with_holes(tmp_path: Path) -> None:
    frame = frame_with_depth(tmp_path)
    layer = depth_layer(frame, frame.views[0], (300.0, 240.0), 30.0)
    assert layer is not None
    along, depth = layer.column((440.0, 190.0), 30.0)
    px_per_mm = 1.2 * 640 / 307.6
    assert along[-1] == pytest.approx(30.0, abs=0.5 / px_per_mm + 0.01)
    expected = 310.0 - 0.01 * (190.0 + along * px_per_mm)
    seen = np.isfinite(depth)
    assert np.allclose(depth[seen], expected[seen], atol=0.002)
    assert not seen[(along > 5.0) & (along < 30.0)].any() and seen[along < 3.0].all()


def test_the_plot_rises_towards_the_viewer_and_keeps_to_its_place(tmp_path: Path) -> None:
    frame = frame_with_depth(tmp_path)
    layer = depth_layer(frame, frame.views[0], (300.0, 240.0), 30.0)
    assert layer is not None
    picture = Area(0, 0, 950, 800)
    area = section_area(picture, (700.0, 300.0), 1.0)
    assert area is not None and area.within(picture) == area and area.right < 475
    assert section_area(Area(0, 0, 300, 420), (100.0, 100.0), 0.6) is None
    target = np.zeros((800, 1280, 4), np.uint8)
    draw_section(target, area, layer, (100.0, 240.0), unit=1.0)
    blue = np.array([int(MEASURED.colour[k : k + 2], 16) for k in (1, 3, 5)])
    rows, columns = np.nonzero(np.abs(target[:, :, :3].astype(int) - blue).max(2) < 8)
    # lower rows of the map are nearer, and nearer is to the right
    assert np.corrcoef(rows, columns)[0, 1] > 0.9
    outside = target.copy()
    outside[area.top : area.bottom, area.left : area.right] = 0
    assert not outside.any()


def test_moving_over_the_layer_leaves_what_a_whole_redraw_gives(deep: Hand) -> None:
    deep.key("d")
    for at in ((100.0, 700.0), (800.0, 700.0), (850.0, 100.0), (200.0, 300.0), (1200.0, 300.0)):
        deep.move(at)
    patched = deep.pixels
    deep.canvas.draw()
    assert np.array_equal(patched, deep.pixels)


def test_a_corner_is_placed_and_the_picture_moved_without_a_pointer(deep: Hand) -> None:
    deep.key("a", "right", "right", "down", "shift+left", "space")
    area = deep.bench.screen.picture
    at = area.width // 2 + 2 - 20, area.height // 2 + 1
    assert deep.places() == {"11d": deep.bench.transform.to_picture(at)}
    deep.key("a", "right")
    assert deep.places()["11d"][0] == pytest.approx(deep.bench.transform.to_picture(at)[0] + 0.1)
    before = deep.bench.transform
    deep.key("ctrl+left")
    assert deep.bench.transform.shift_x < before.shift_x
    deep.key("6", "8", "2")
    assert deep.bench.transform == before


def test_a_pointer_that_moves_takes_over_from_the_keys(deep: Hand) -> None:
    deep.key("a")
    assert deep.bench.scene().aim is not None
    deep.move((100.0, 100.0))
    assert deep.bench.scene().aim is None


def test_ghosts_carry_their_names(deep: Hand) -> None:
    deep.bench.answer = Answer(before={"front": {"11d": (300.0, 200.0)}})
    deep.key("g")
    named = deep.pixels
    deep.bench.answer = Answer(before={"front": {"11m": (300.0, 200.0)}})
    deep.canvas.draw()
    x, y = (round(v) for v in deep.on_screen((300.0, 200.0)))
    around = (slice(y - 20, y + 5), slice(x - 60, x - 9))
    colour = np.abs(named[around][..., :3].astype(int) - SOLVED_BEFORE).max(2) < 40
    assert colour.sum() > 10, "letters in the colour of the mark"
    assert not np.array_equal(named[around], deep.pixels[around]), "and they say which corner"
