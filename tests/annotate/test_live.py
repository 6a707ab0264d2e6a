"""The live check: latest clicks only, after a pause, and a fault never takes the window down."""

import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from bite.annotate.state.answer import Answer, check_clicks, frame_with_clicks
from bite.annotate.state.clicks import Clicks, ViewClicks
from bite.annotate.state.live import LiveCheck, Stamped
from bite.errors import InputError
from bite.files.bundle import BiteFrame
from bite.files.corners import CornerPoint, CornerState
from tests.annotate.support import bench_of_frame, frame_of, grey_picture, hand_on


def clicks_at(x: float) -> Clicks:
    return (ViewClicks({"11d": CornerPoint(CornerState.SEEN, x, 10.0)}),)


def taken(live: LiveCheck, seconds: float = 5.0) -> Stamped | None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if done := live.take():
            return done
        time.sleep(0.005)
    return None


def test_a_run_of_changes_is_one_question() -> None:
    asked: list[float] = []

    def check(clicks: Clicks) -> Answer:
        asked.append(clicks[0].places["11d"][0])
        return Answer(verdict=str(asked[-1]))

    live = LiveCheck(check, pause_s=0.15)
    for revision in range(20):
        live.ask(revision, clicks_at(float(revision)))
        time.sleep(0.002)
    done = taken(live)
    assert done is not None
    assert (done.revision, done.answer.verdict) == (19, "19.0")
    assert asked == [19.0]
    live.close()


def test_an_answer_to_older_clicks_is_dropped() -> None:
    begun, let_go = threading.Event(), threading.Event()

    def check(clicks: Clicks) -> Answer:
        if clicks[0].places["11d"][0] == 1.0:
            begun.set()
            assert let_go.wait(5)
        return Answer(verdict=str(clicks[0].places["11d"][0]))

    live = LiveCheck(check, pause_s=0.0)
    live.ask(1, clicks_at(1.0))
    assert begun.wait(5)
    live.ask(2, clicks_at(2.0))
    let_go.set()
    done = taken(live)
    assert done is not None
    assert (done.revision, done.answer.verdict) == (2, "2.0")
    assert live.take() is None
    live.close()


def test_an_answer_that_was_ready_is_dropped_when_clicks_change_before_it_is_taken() -> None:
    live = LiveCheck(lambda clicks: Answer(verdict="old"), pause_s=0.0)
    live.ask(1, clicks_at(1.0))
    end = time.monotonic() + 5
    while live.busy and time.monotonic() < end:
        time.sleep(0.005)
    live.ask(2, clicks_at(2.0))
    done = taken(live)
    assert done is not None and done.revision == 2
    live.close()


def test_a_fault_in_the_check_is_told_and_the_worker_goes_on() -> None:
    def check(clicks: Clicks) -> Answer:
        if clicks[0].places["11d"][0] == 1.0:
            raise ZeroDivisionError("boom")
        return Answer(verdict="fine")

    live = LiveCheck(check, pause_s=0.0)
    live.ask(1, clicks_at(1.0))
    first = taken(live)
    assert first is not None and "boom" in first.answer.troubles[0]
    live.ask(2, clicks_at(2.0))
    second = taken(live)
    assert second is not None and second.answer.verdict == "fine"
    live.close()


def test_the_check_sees_the_present_clicks(tmp_path: Path) -> None:
    frame = frame_of([grey_picture()], tmp_path)
    clicks = clicks_at(123.4)
    changed = frame_with_clicks(frame, clicks)
    assert changed.views[0].corners is not None
    assert changed.views[0].corners.points == clicks[0].points
    assert frame_with_clicks(frame, (ViewClicks(),)).views[0].corners is None
    assert np.shares_memory(changed.views[0].image, frame.views[0].image)


def test_what_the_check_refuses_is_an_answer(tmp_path: Path) -> None:
    def refuse(frame: BiteFrame) -> object:
        raise InputError("a.bite.toml", "points", "mirrored", "click again")

    answer = check_clicks(frame_of([grey_picture()], tmp_path), clicks_at(1.0), refuse)  # type: ignore[arg-type]  # a stand-in
    assert answer.verdict == "no answer"
    assert "mirrored" in answer.troubles[0]


def test_the_window_shows_the_answer_and_greys_an_old_one(tmp_path: Path) -> None:
    verdicts = iter(["LEAVE", "MOVE"])
    live = LiveCheck(lambda clicks: Answer(verdict=next(verdicts), headline="x"), pause_s=0.0)
    hand = hand_on(bench_of_frame(frame_of([grey_picture()], tmp_path), live))
    hand.click_picture((100.0, 100.0))
    panel = hand.pixels[:, hand.bench.screen.panel.left :]
    end = time.monotonic() + 5
    while hand.bench.answer is None and time.monotonic() < end:
        hand.window.poll()
        time.sleep(0.005)
    assert hand.bench.answer is not None and hand.bench.answer.verdict == "LEAVE"
    answered = hand.pixels[:, hand.bench.screen.panel.left :]
    assert not np.array_equal(panel, answered)
    assert not hand.bench.scene().panel.busy
    hand.key("right")
    assert hand.bench.scene().panel.busy
    assert hand.bench.scene().panel == replace(hand.bench.scene().panel)
    hand.bench.finish()
