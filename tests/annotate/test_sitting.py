"""Several frames in one sitting: on and back, the list, and nothing lost between."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from bite.annotate.drawing.draw_sheet import row_at
from bite.annotate.opening import stand_on_disk
from bite.annotate.sitting import Sitting
from bite.annotate.state.frames import FrameStand, clicked_told, is_done
from bite.annotate.toolkit.window import Window
from bite.annotate.workbench import Workbench
from bite.errors import InputError
from tests.annotate.support import Hand, bench_of_picture, grey_picture

FOUR = [(250.0, 200.0), (330.0, 204.0), (268.0, 212.0), (314.0, 214.0)]


def sitting_in(folder: Path, bad: frozenset[int] = frozenset()) -> Sitting:
    """Four frames of one picture each, some of which cannot be opened."""
    paths = [folder / str(number) for number in range(4)]
    for path in paths:
        path.mkdir(exist_ok=True)

    def opened(path: Path) -> Workbench:
        if int(path.name) in bad:
            raise InputError(path, "image", "is not there", "put it there")
        return bench_of_picture(grey_picture(), path)

    return Sitting(paths, opened, lambda path: FrameStand(path.name, "nothing clicked", "", False))


def hand_on_sitting(sitting: Sitting) -> Hand:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    canvas = FigureCanvasAgg(Figure(figsize=(12.8, 8.0), dpi=100))
    window = Window(canvas, sitting.bench, sitting=sitting)
    canvas.draw()
    return Hand(window, sitting.bench, canvas)


def on_bench(hand: Hand, sitting: Sitting) -> Hand:
    """The hand on whatever frame is on the bench now."""
    return Hand(hand.window, sitting.bench, hand.canvas)


def test_on_and_back_keeps_clicks_and_undo(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    meant = [hand.click_picture(place) for place in FOUR]
    hand.key("pagedown")
    hand = on_bench(hand, sitting)
    assert hand.places() == {} and sitting.bench.stores[0].path.parent.name == "1"
    hand.click_picture((100.0, 100.0))
    assert set(json.loads((tmp_path / "1" / "front.corners.json").read_text())["points"]) == {"11d"}
    hand.key("pageup")
    hand = on_bench(hand, sitting)
    assert list(hand.places().values()) == meant
    hand.key("z")
    assert len(hand.places()) == 3 and len(hand.saved()["points"]) == 3


def test_clicks_that_others_changed_meanwhile_are_read_again(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    hand.click_picture(FOUR[0])
    path = sitting.bench.stores[0].path
    hand.key(".")
    told = json.loads(path.read_text())
    told["points"]["11d"]["x"] = 17.0
    path.write_text(json.dumps(told))
    hand.key(",")
    assert on_bench(hand, sitting).places()["11d"][0] == 17.0


def test_progress_and_the_list_say_how_each_frame_stands(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    for place in FOUR:
        hand.click_picture(place)
    frames = sitting.bench.frames
    assert frames is not None and frames.progress == "frame 1 of 4, 1 clicked"
    assert frames.next_undone == 1
    hand.key("l")
    sheet = sitting.bench.sheet
    assert sheet is not None and "4 of 4 corners" in sheet.rows[0][1]
    hand.key("down", "down", "enter")
    assert sitting.bench.stores[0].path.parent.name == "2"
    hand = on_bench(hand, sitting)
    hand.key("l")
    sheet, screen = sitting.bench.sheet, sitting.bench.screen
    assert sheet is not None and sheet.marked == 2
    x = screen.picture.width / 2
    rows = {row_at(screen.picture, sheet, (x, y), unit=screen.unit): float(y) for y in range(800)}
    hand.click((x, rows[3]))
    assert sitting.bench.stores[0].path.parent.name == "3"
    assert not on_bench(hand, sitting).places(), "a click in the list sets no corner"


def test_a_frame_that_cannot_be_opened_is_passed_over_and_said(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path, frozenset({0, 2}))
    hand = hand_on_sitting(sitting)
    assert sitting.bench.stores[0].path.parent.name == "1"
    hand.key("pagedown")
    assert sitting.bench.stores[0].path.parent.name == "3"
    assert "passed over" in sitting.bench.notes.lines[0]
    on_bench(hand, sitting).key("pagedown")
    assert "last frame" in sitting.bench.desk.said
    assert set(sitting.failed) == {0, 2}
    with pytest.raises(InputError, match="is not there"):
        sitting_in(tmp_path, frozenset(range(4)))


def test_a_frame_whose_clicks_are_not_on_disk_is_not_left(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    hand.click_picture(FOUR[0])
    path = sitting.bench.stores[0].path
    path.unlink()
    path.mkdir()
    hand.key("right", "pagedown")
    assert sitting.bench is hand.bench and "not saved" in hand.bench.desk.said
    path.rmdir()
    hand.key("pagedown")
    assert sitting.bench is not hand.bench and path.exists()


def test_every_frame_visited_is_told_at_the_end(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    hand.click_picture(FOUR[0])
    hand.key("pagedown")
    on_bench(hand, sitting).click_picture(FOUR[1])
    sitting.finish()
    assert [len(v.clicks[0].points) for v in sitting.visited.values()] == [1, 1]


def test_a_verdict_on_disk_counts_only_for_the_clicks_it_was_reached_with(tmp_path: Path) -> None:
    frame = tmp_path / "a.bite.toml"
    frame.write_text(
        'format = "bite-frame 1"\nname = "a"\nperformer = "p"\ndevice = "d"\n[[view]]\nname = "front"\n'
        'image = "a.png"\ncamera = "a.yaml"\ncorners = "a.corners.json"\n'
    )
    assert stand_on_disk(frame) == FrameStand("a", "nothing clicked", "", False)
    corners = tmp_path / "a.corners.json"
    points = {code: {"x": 250.0, "y": 200.0, "state": "seen"} for code in ("11d", "21d")}
    table = {"format": "bite-corners 1", "image": {"file": "a.png", "width": 640, "height": 480}}
    corners.write_text(json.dumps({**table, "points": points}))
    digest = hashlib.sha256(corners.read_bytes()).hexdigest()
    result = {"inputs": {"a.corners.json": f"sha256:{digest}"}, "decision": {"verdict": "move"}}
    (tmp_path / "a.result.json").write_text(json.dumps(result))
    assert stand_on_disk(frame) == FrameStand("a", "2 of 4 corners", "move so far", False)
    corners.write_text(json.dumps({**table, "points": {}}))
    assert stand_on_disk(frame).verdict == ""
    corners.write_text("{")
    assert stand_on_disk(frame).clicked == "cannot be read"


def test_done_means_the_four_outer_corners_of_every_picture(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    for place in FOUR[:3]:
        hand.click_picture(place)
    assert clicked_told(hand.bench.desk.clicks) == "3 of 4 corners" and not is_done(hand.bench.desk.clicks)
    hand.key("h")
    assert is_done(hand.bench.desk.clicks)


def during_the_reading(hand: Hand, monkeypatch: pytest.MonkeyPatch, act) -> None:
    """Let a hand act while a frame is being read: what comes then is handed out when the toolkit is asked."""
    asked = []

    def flush() -> None:
        asked.append(True)
        if len(asked) == 2:  # first the words are shown, then the frame is read
            act()

    monkeypatch.setattr(hand.canvas, "flush_events", flush)


def test_keys_typed_while_a_frame_is_read_wait_for_it_and_clicks_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)

    def act() -> None:
        hand.key("h", "h")
        hand.click_picture(FOUR[0])

    during_the_reading(hand, monkeypatch, act)
    hand.key("pagedown")
    hand = on_bench(hand, sitting)
    assert hand.bench.stores[0].path.parent.name == "1"
    assert {name: str(hand.bench.desk.here.state_of(name)) for name in hand.bench.desk.here.done} == {
        "11d": "hidden", "21d": "hidden",
    }  # fmt: skip
    assert set(hand.saved()["points"]) == {"11d", "21d"}


def test_a_click_meant_for_the_frame_before_is_said_not_to_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    during_the_reading(hand, monkeypatch, lambda: hand.click_picture(FOUR[0]))
    hand.key("pagedown")
    hand = on_bench(hand, sitting)
    assert hand.places() == {} and "a click made while this frame was being read" in hand.bench.desk.said


def test_page_keys_typed_meanwhile_are_one_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    during_the_reading(hand, monkeypatch, lambda: hand.key("pagedown", "pagedown", "h"))
    hand.key("pagedown")
    hand = on_bench(hand, sitting)
    assert hand.bench.stores[0].path.parent.name == "3" and set(sitting.visited) == {0, 1}
    assert set(hand.bench.desk.here.done) == {"11d"}


def test_in_a_browser_keys_wait_until_what_was_sent_has_come_in(tmp_path: Path) -> None:
    sitting = sitting_in(tmp_path)
    hand = hand_on_sitting(sitting)
    hand.window._in_browser = True
    hand.key("pagedown", "h")
    hand = on_bench(hand, sitting)
    assert hand.bench.desk.here.done == set()
    for _ in range(4):
        hand.window.poll()
    assert set(hand.bench.desk.here.done) == {"11d"}
    hand.key("h")
    assert len(hand.bench.desk.here.done) == 2
