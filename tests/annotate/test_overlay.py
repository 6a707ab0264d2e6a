"""The solved mouth over the photograph: keys, what is seen then, blinking and the wipe."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from bite.annotate.drawing.draw_marks import SOLVED_AFTER, SOLVED_BEFORE
from bite.annotate.drawing.overlay import BLINK_POLLS, Layer
from bite.annotate.state.answer import Answer
from bite.annotate.state.later import Later
from bite.check.solved_looks import Looks
from bite.evidence.model.outlines import Outline, Rim
from bite.evidence.model.solved_mouth import SolvedMouth
from bite.geometry.render import Window
from tests.annotate.support import Hand, bench_of_frame, bench_of_picture, frame_of, hand_on

WINDOW = Window(200, 150, 200, 100)
RED, GREEN, GREY = (200, 10, 10), (10, 200, 10), (90, 90, 90)


def mouth(colour: tuple[int, int, int], row: float) -> SolvedMouth:
    """A solved mouth of one colour that fills its window, with one edge along a row."""
    shaded = np.empty((WINDOW.height, WINDOW.width, 3), np.uint8)
    shaded[...] = colour
    full = np.ones(shaded.shape[:2])
    line = np.column_stack([np.linspace(210.0, 390.0, 50), np.full(50, row)])
    return SolvedMouth(WINDOW, (Outline(Rim.UPPER, line),), shaded, full, full)


@pytest.fixture
def seen(tmp_path: Path) -> Hand:
    """A grey picture whose solved mouth is red before and green after."""
    hand = hand_on(bench_of_picture(np.full((480, 640, 3), 90, np.uint8), tmp_path))
    looks = {"front": Looks(mouth(RED, 180.0), mouth(GREEN, 220.0))}
    hand.bench.answer = Answer(verdict="move", looks=lambda: looks)
    return hand


def drawn(hand: Hand) -> None:
    """Wait until the overlay is there."""
    end = time.monotonic() + 20
    while time.monotonic() < end:
        hand.window.poll()
        words = hand.bench.scene().overlay.words
        if not words or "being drawn" not in words[0][0]:
            return
        time.sleep(0.01)
    raise AssertionError("nothing came")


def colour_at(hand: Hand, place: tuple[float, float]) -> tuple[int, ...]:
    x, y = (round(v) for v in hand.on_screen(place))
    return tuple(int(v) for v in hand.pixels[y, x, :3])


def test_t_shows_before_then_after_then_the_photograph(seen: Hand) -> None:
    seen.key("t")
    drawn(seen)
    found = []
    for _ in range(3):
        found.append((colour_at(seen, (300.0, 200.0)), colour_at(seen, (100.0, 200.0))))
        seen.key("t")
    assert found == [(RED, GREY), (GREEN, GREY), (GREY, GREY)]
    assert seen.bench.scene().overlay.words == ((Layer.BEFORE.value, SOLVED_BEFORE),)


def test_o_draws_both_outlines_where_they_lie_and_nothing_else(seen: Hand) -> None:
    seen.key("o")
    drawn(seen)
    assert colour_at(seen, (300.0, 180.0)) == SOLVED_BEFORE
    assert colour_at(seen, (300.0, 220.0)) == SOLVED_AFTER
    assert colour_at(seen, (300.0, 200.0)) == GREY
    seen.key("o")
    assert colour_at(seen, (300.0, 180.0)) == GREY


def test_w_wipes_at_the_pointer_and_follows_it(seen: Hand) -> None:
    seen.key("w")
    drawn(seen)
    left, right, middle = (230.0, 200.0), (370.0, 200.0), seen.on_screen((300.0, 470.0))
    seen.move(middle)
    assert (colour_at(seen, left), colour_at(seen, right)) == (RED, GREEN)
    seen.move(seen.on_screen((390.0, 470.0)))
    assert (colour_at(seen, left), colour_at(seen, right)) == (RED, RED)
    seen.key("w")
    seen.move(middle)
    assert (colour_at(seen, left), colour_at(seen, right)) == (GREY, GREEN)
    patched = seen.pixels
    seen.canvas.draw()
    assert np.array_equal(patched, seen.pixels)


def test_k_blinks_through_all_three_by_the_windows_own_clock(seen: Hand) -> None:
    seen.key("k")
    drawn(seen)
    found = []
    for _ in range(3 * BLINK_POLLS):
        seen.window.poll()
        found.append(colour_at(seen, (300.0, 200.0)))
    assert set(found) == {RED, GREEN, GREY}
    seen.key("k")
    for _ in range(2 * BLINK_POLLS):
        seen.window.poll()
        assert colour_at(seen, (300.0, 200.0)) == GREY


def test_clicks_are_set_where_they_are_pointed_at_whatever_is_shown(seen: Hand) -> None:
    seen.key("t", "o")
    drawn(seen)
    assert seen.click_picture((300.0, 200.0)) == seen.places()["11d"]


def test_without_a_move_there_is_no_after(tmp_path: Path) -> None:
    hand = hand_on(bench_of_picture(np.full((480, 640, 3), 90, np.uint8), tmp_path))
    hand.bench.answer = Answer(verdict="leave", looks=lambda: {"front": Looks(mouth(RED, 180.0), None)})
    hand.key("t")
    drawn(hand)
    hand.key("t")
    assert colour_at(hand, (300.0, 200.0)) == GREY
    hand.key("w")
    hand.move(hand.on_screen((300.0, 470.0)))
    assert (colour_at(hand, (230.0, 200.0)), colour_at(hand, (370.0, 200.0))) == (GREY, RED)


def test_without_an_answer_the_keys_say_so(tmp_path: Path) -> None:
    hand = hand_on(bench_of_picture(np.full((480, 640, 3), 90, np.uint8), tmp_path))
    for key in "otkw":
        hand.key(key)
        assert "no solved mouth" in hand.bench.desk.said
    assert not hand.bench.overlays.on


def test_a_rendering_that_fails_takes_nothing_down() -> None:
    def fail() -> int:
        raise ValueError("no")

    later = Later(fail)
    end = time.monotonic() + 10
    while not later.finished and time.monotonic() < end:
        time.sleep(0.005)
    assert later.made is None and "ValueError" in later.why_not


def test_ghosts_lie_below_clicks(seen: Hand) -> None:
    seen.key("f")
    place = seen.click_picture((300.0, 200.0))
    bare = seen.pixels
    seen.bench.answer = Answer(before={"front": {"11d": place, "21d": (340.0, 200.0)}})
    seen.key("g")
    x, y = (round(v) for v in seen.on_screen(place))
    assert np.array_equal(seen.pixels[y - 1 : y + 2, x - 1 : x + 2], bare[y - 1 : y + 2, x - 1 : x + 2])
    assert not np.array_equal(seen.pixels, bare)


def test_a_stereo_pair_shows_the_solved_mouth_in_each_picture(tmp_path: Path) -> None:
    """No depth is needed for it, and where nothing is to be moved nothing is called before."""
    pictures = [np.full((480, 640, 3), 90, np.uint8)] * 2
    hand = hand_on(bench_of_frame(frame_of(pictures, tmp_path)))
    looks = {"front": Looks(mouth(RED, 180.0), None), "side": Looks(mouth(GREEN, 180.0), None)}
    hand.bench.answer = Answer(verdict="unsure", looks=lambda: looks)
    hand.key("o", "t")
    drawn(hand)
    assert colour_at(hand, (300.0, 200.0)) == RED
    assert [words for words, _ in hand.bench.scene().overlay.words] == ["as solved", "outline: as solved"]
    hand.key("v")
    assert colour_at(hand, (300.0, 200.0)) == GREEN
    hand.key("w")
    hand.move(hand.on_screen((300.0, 470.0)))
    assert (colour_at(hand, (230.0, 200.0)), colour_at(hand, (370.0, 200.0))) == (GREY, GREEN)
    hand.key("k")
    assert hand.bench.desk.said == "blinks between photograph and solved mouth"
    found = set()
    for _ in range(2 * BLINK_POLLS):
        hand.window.poll()
        found.add(colour_at(hand, (300.0, 200.0)))
    assert found == {GREY, GREEN}
