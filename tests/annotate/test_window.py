"""Every key and every mouse action, on a canvas without a display."""

import json
from dataclasses import replace
from math import hypot
from pathlib import Path

import numpy as np
import pytest

from bite.annotate.drawing.draw_sheet import draw_sheet, page_count, row_at
from bite.annotate.drawing.panel import drawing_area
from bite.annotate.drawing.pyramid import SURROUND
from bite.annotate.drawing.screen import Screen
from bite.annotate.drawing.teeth_drawing import corner_places
from bite.annotate.state.keys import BINDINGS, Action, action_of
from bite.annotate.state.sheet import help_sheet
from bite.files.corners import CornerState, read_corners
from tests.annotate.support import Hand, bench_of_picture, grey_picture, hand_on

# a screen pixel is at least this fine in the picture after zooming in; clicks are exact to it
FOUR = {"11d": (250.0, 200.0), "21d": (330.0, 204.0), "41d": (268.0, 212.0), "31d": (314.0, 214.0)}


def near(a: tuple[float, float], b: tuple[float, float], tolerance: float = 1e-9) -> bool:
    return hypot(a[0] - b[0], a[1] - b[1]) <= tolerance


def click_four(hand: Hand) -> dict[str, tuple[float, float]]:
    return {name: hand.click_picture(place) for name, place in FOUR.items()}


def test_clicks_go_in_the_guided_order(hand: Hand) -> None:
    asked, meant = [], {}
    for name, place in FOUR.items():
        asked.append(hand.bench.desk.asked)
        meant[name] = hand.click_picture(place)
    assert asked == ["11d", "21d", "41d", "31d"]
    assert hand.bench.desk.asked == "11m"
    assert hand.places() == meant
    # half a screen pixel in each direction is all that a click can be off
    assert all(near(meant[name], FOUR[name], 0.71 / hand.bench.transform.scale) for name in FOUR)


def test_each_click_is_on_disk_at_once(hand: Hand) -> None:
    for count, place in enumerate(FOUR.values(), 1):
        hand.click_picture(place)
        assert len(hand.saved()["points"]) == count
    assert hand.saved()["annotator"] == "ab"
    assert hand.saved()["saved"] == "2026-01-31T12:00:00Z"


@pytest.mark.slow
def test_undo_is_saved_too_and_has_no_end(hand: Hand) -> None:
    meant = click_four(hand)
    for _ in range(60):
        hand.key("right")
    for _ in range(64):
        hand.key("z")
    assert hand.places() == {}
    assert hand.saved()["points"] == {}
    for _ in range(64):
        hand.key("y")
    assert near(hand.places()["31d"], (meant["31d"][0] + 6.0, meant["31d"][1]), 1e-6)
    assert hand.saved()["points"]["31d"]["x"] == pytest.approx(meant["31d"][0] + 6.0)


@pytest.mark.parametrize(
    ("key", "step"),
    [
        ("left", (-0.1, 0)),
        ("right", (0.1, 0)),
        ("up", (0, -0.1)),
        ("down", (0, 0.1)),
        ("shift+left", (-1, 0)),
        ("shift+right", (1, 0)),
        ("shift+up", (0, -1)),
        ("shift+down", (0, 1)),
    ],
)
def test_arrows_nudge_the_ringed_mark(hand: Hand, key: str, step: tuple[float, float]) -> None:
    x, y = hand.click_picture((100.0, 100.0))
    hand.key(key)
    assert near(hand.places()["11d"], (x + step[0], y + step[1]))
    hand.key("z")
    assert hand.places()["11d"] == (x, y)


def test_press_and_pull_is_one_step(hand: Hand) -> None:
    start, end = hand.on_screen((100.0, 100.0)), hand.on_screen((140.0, 130.0))
    hand.drag([start, ((start[0] + end[0]) / 2, start[1]), end])
    assert near(hand.places()["11d"], hand.exact((140.0, 130.0)))
    assert hand.saved()["points"]["11d"]["x"] == pytest.approx(hand.exact((140.0, 130.0))[0])
    hand.key("z")
    assert hand.places() == {}


def test_a_mark_is_taken_hold_of_and_pulled_without_a_jump(hand: Hand) -> None:
    start = hand.click_picture((100.0, 100.0))
    x, y = hand.on_screen(start)
    hand.drag([(x + 3, y + 2), (x + 20, y + 2), (x + 43, y + 42)])
    scale = hand.bench.transform.scale
    assert near(hand.places()["11d"], (start[0] + 40 / scale, start[1] + 40 / scale))
    assert hand.bench.desk.asked == "21d"


def test_a_click_on_a_mark_does_not_shift_it(hand: Hand) -> None:
    start = hand.click_picture((100.0, 100.0))
    x, y = hand.on_screen(start)
    hand.drag([(x + 3, y + 2), (x + 4, y + 1)])
    assert hand.places() == {"11d": start}
    assert hand.bench.desk.history_depth == (1, 0)


def test_space_sets_a_corner_next_to_a_mark(hand: Hand) -> None:
    hand.click_picture((100.0, 100.0))
    x, y = hand.on_screen((100.0, 100.0))
    hand.move((x + 2, y))
    hand.key(" ")
    assert set(hand.places()) == {"11d", "21d"}


@pytest.mark.parametrize(("key", "state"), [("s", "seen"), ("u", "unsure"), ("c", "covered")])
def test_state_keys_act_on_the_ringed_corner(hand: Hand, key: str, state: str) -> None:
    hand.key("n", "n")
    hand.click_picture((100.0, 100.0))
    hand.key("u" if state == "seen" else "s", key)
    assert hand.saved()["points"]["41d"]["state"] == state


def test_h_hides_the_corner_asked_for_and_goes_on(hand: Hand) -> None:
    hand.click_picture((100.0, 100.0))
    hand.key("h")
    assert hand.saved()["points"]["21d"] == {"state": "hidden"}
    assert hand.saved()["points"]["11d"]["state"] == "seen"
    assert hand.bench.desk.asked == "41d"


def test_a_hidden_corner_can_be_clicked_after_all(hand: Hand) -> None:
    hand.key("h", "p")
    hand.click_picture((80.0, 90.0))
    assert hand.bench.desk.here.state_of("11d") is CornerState.SEEN


@pytest.mark.parametrize("key", ["delete", "backspace"])
def test_delete_removes_and_asks_again(hand: Hand, key: str) -> None:
    click_four(hand)
    hand.key(key)
    assert "31d" not in hand.saved()["points"]
    assert hand.bench.desk.asked == "31d"
    hand.key("z")
    assert "31d" in hand.places()


def test_n_and_p_step_through_the_order(hand: Hand) -> None:
    hand.key("n", "n")
    assert hand.bench.desk.asked == "41d"
    hand.key("p")
    assert hand.bench.desk.asked == "21d"


def test_a_click_in_the_drawing_asks_for_that_corner(hand: Hand) -> None:
    screen = hand.bench.screen
    hand.click(corner_places(drawing_area(screen.panel, screen.unit))["31m"])
    assert hand.bench.desk.asked == "31m"
    assert hand.places() == {}


@pytest.mark.parametrize("turn", [1, -1, 3, 2.5])
def test_the_wheel_keeps_the_place_under_the_cursor(hand: Hand, turn: float) -> None:
    hand.wheel((300.0, 300.0), 4)
    at = (412.0, 333.0)
    before = hand.bench.transform.to_picture(at)
    hand.wheel(at, turn)
    assert near(hand.bench.transform.to_picture(at), before, 1e-9)


@pytest.mark.parametrize(("button", "key"), [(2, None), (3, None), (1, "shift")])
def test_dragging_pans_and_sets_nothing(hand: Hand, button: int, key: str | None) -> None:
    hand.wheel((400.0, 300.0), 4)
    before = hand.bench.transform
    hand.drag([(400.0, 300.0), (420.0, 310.0), (460.0, 290.0)], button=button, key=key)
    after = hand.bench.transform
    assert (after.shift_x - before.shift_x, after.shift_y - before.shift_y) == (60.0, -10.0)
    assert hand.places() == {}


def test_fit_and_one_to_one(hand: Hand) -> None:
    whole = hand.bench.transform
    hand.move((300.0, 300.0))
    hand.key("1")
    assert hand.bench.transform.scale == pytest.approx(1.0)
    hand.key("f")
    assert hand.bench.transform == whole


def test_plus_and_minus_zoom_at_the_cursor(hand: Hand) -> None:
    hand.move((300.0, 300.0))
    before = hand.bench.transform.to_picture((300.0, 300.0))
    scale = hand.bench.transform.scale
    hand.key("+")
    assert hand.bench.transform.scale > scale
    hand.key("-")
    assert hand.bench.transform.scale == pytest.approx(scale)
    assert near(hand.bench.transform.to_picture((300.0, 300.0)), before, 1e-9)


def test_m_shows_the_mouth(hand: Hand) -> None:
    click_four(hand)
    hand.key("m")
    area = hand.bench.screen.picture
    shown = [hand.on_screen(place) for place in FOUR.values()]
    assert all(area.holds(place) for place in shown)
    assert max(p[0] for p in shown) - min(p[0] for p in shown) > 0.3 * area.width


def test_b_brightens_the_screen_and_not_the_picture(hand: Hand) -> None:
    stored = hand.bench.frame.views[0].image.copy()
    at = tuple(int(v) for v in hand.on_screen((200.0, 100.0)))
    values = []
    for _ in range(4):
        values.append(int(hand.pixels[at[1], at[0], :3].sum()))
        hand.key("b")
    assert values[1] > values[0]
    assert values[2] > values[1]
    assert int(hand.pixels[at[1], at[0], :3].sum()) == values[0]
    assert np.array_equal(hand.bench.frame.views[0].image, stored)


@pytest.mark.parametrize("size", [(1280, 800), (1366, 768), (640, 420)])
def test_help_fits_any_screen_and_all_its_rows_can_be_reached(size: tuple[int, int]) -> None:
    screen, sheet = Screen(*size), help_sheet()
    target = np.zeros((size[1], size[0], 4), np.uint8)
    seen: set[int] = set()
    for page in range(page_count(screen.picture, sheet, unit=screen.unit)):
        here = replace(sheet, page=page)
        area = draw_sheet(target, screen.picture, here, unit=screen.unit)
        assert area.within(screen.picture) == area
        places = range(area.top, area.bottom)
        found = {row_at(screen.picture, here, (area.left + 20, y), unit=screen.unit) for y in places}
        last = row_at(screen.picture, here, (area.left + 20, area.bottom - 12), unit=screen.unit)
        assert last is None or last in found
        seen |= {row for row in found if row is not None}
    assert seen == set(range(len(sheet.rows)))
    assert size == (640, 420) or page_count(screen.picture, sheet, unit=screen.unit) == 1


def test_keys_do_nothing_behind_help_and_escape_closes_it(hand: Hand) -> None:
    hand.click_picture((100.0, 100.0))
    before = hand.bench.desk.clicks
    hand.key("?")
    hand.key("h", "z", "delete", "right", "u", "q", "b", "n", " ")
    hand.wheel((300.0, 300.0), 3)
    assert hand.bench.desk.clicks is before and not hand.bench.closing and not hand.bench.aids.lift
    hand.key("escape")
    assert hand.bench.sheet is None
    hand.key("u")
    assert hand.bench.desk.here.state_of("11d") is CornerState.UNSURE


def test_covered_is_refused_on_an_upper_corner_with_the_reason(hand: Hand) -> None:
    hand.click_picture((100.0, 100.0))
    hand.key("c")
    assert hand.bench.desk.here.state_of("11d") is CornerState.SEEN
    assert "lower tooth" in hand.bench.desk.said


def spoil(hand: Hand) -> Path:
    """Make the corner file's place one that nothing can be written to."""
    path = hand.bench.stores[0].path
    path.unlink()
    path.mkdir()
    hand.key("right")
    assert not hand.bench.save_status.saved
    return path


def test_q_asks_while_clicks_are_not_on_disk_and_escape_goes_on(hand: Hand) -> None:
    hand.click_picture((100.0, 100.0))
    path = spoil(hand)
    hand.key("q")
    assert not hand.bench.closing and hand.bench.sheet is not None
    hand.key("escape")
    assert hand.bench.sheet is None
    path.rmdir()
    hand.key("right", "q")
    assert hand.bench.closing and set(hand.saved()["points"]) == {"11d"}


def test_b_saves_beside_and_closes(hand: Hand) -> None:
    hand.click_picture((100.0, 100.0))
    path = spoil(hand)
    hand.key("q", "b")
    assert hand.bench.closing
    hand.bench.finish()
    beside = path.with_name("front.corners.unsaved-1.json")
    assert read_corners(beside).points == hand.bench.desk.here.points
    assert beside.name in hand.bench.notes.lines[-1]


def test_a_window_that_is_simply_shut_saves_beside_too_but_q_twice_does_not(tmp_path: Path) -> None:
    for keys, kept in ((("q", "q"), False), ((), True)):
        folder = tmp_path / str(kept)
        folder.mkdir()
        hand = hand_on(bench_of_picture(grey_picture(), folder))
        hand.click_picture((100.0, 100.0))
        path = spoil(hand)
        hand.key(*keys)
        hand.bench.finish()
        assert path.with_name("front.corners.unsaved-1.json").exists() is kept


def kept_once(folder: Path) -> Path:
    """Leave a copy beside a corner file that could not be written, and make room for that file again."""
    hand = hand_on(bench_of_picture(grey_picture(), folder))
    hand.click_picture((100.0, 100.0))
    path = spoil(hand)
    hand.key("q", "b")
    hand.bench.finish()
    path.rmdir()
    return path.with_name("front.corners.unsaved-1.json")


def test_clicks_kept_beside_are_offered_at_the_next_opening_and_taken(tmp_path: Path) -> None:
    copy = kept_once(tmp_path)
    kept = read_corners(copy).points
    hand = hand_on(bench_of_picture(grey_picture(), tmp_path))
    assert hand.bench.sheet is not None and copy.name in dict(hand.bench.sheet.rows)["kept"]
    hand.click_picture((200.0, 200.0))
    hand.key("h", "u")
    assert hand.places() == {}, "nothing is clicked behind the question"
    hand.key("enter")
    assert hand.bench.sheet is None and hand.bench.desk.here.points == kept
    assert set(hand.saved()["points"]) == {"11d"} and not copy.exists()
    assert read_corners(copy.with_name(f"{copy.name}.aside-1")).points == kept
    hand.key("z")
    assert hand.places() == {}
    assert bench_of_picture(grey_picture(), tmp_path).sheet is None


def test_clicks_kept_beside_are_asked_about_again_or_put_away(tmp_path: Path) -> None:
    copy = kept_once(tmp_path)
    hand = hand_on(bench_of_picture(grey_picture(), tmp_path))
    hand.key("escape")
    assert hand.bench.sheet is None and copy.exists() and hand.places() == {}
    hand = hand_on(bench_of_picture(grey_picture(), tmp_path))
    assert hand.bench.sheet is not None
    hand.key("delete")
    assert hand.bench.sheet is None and not copy.exists() and hand.places() == {}
    assert bench_of_picture(grey_picture(), tmp_path).sheet is None


def test_what_was_kept_and_still_cannot_be_saved_is_kept_once(tmp_path: Path) -> None:
    copy = kept_once(tmp_path)
    hand = hand_on(bench_of_picture(grey_picture(), tmp_path))
    copy.with_name("front.corners.json").mkdir()
    hand.key("enter")
    assert copy.exists() and not hand.bench.save_status.saved
    hand.key("q", "b")
    hand.bench.finish()
    assert sorted(path.name for path in tmp_path.glob("*unsaved*")) == [copy.name]


def test_clicks_of_another_picture_are_not_offered(tmp_path: Path) -> None:
    kept_once(tmp_path)
    assert bench_of_picture(grey_picture(400, 640), tmp_path).sheet is None


def test_help_lies_over_the_picture_and_a_click_only_closes_it(hand: Hand) -> None:
    before = hand.pixels
    hand.key("?")
    assert not np.array_equal(hand.pixels, before)
    hand.click((300.0, 300.0))
    assert hand.places() == {}
    hand.move((-5.0, -5.0))
    assert hand.bench.sheet is None


def test_d_g_e_and_v_say_why_they_can_do_nothing(hand: Hand) -> None:
    for key, part in (
        ("d", "no depth map"),
        ("g", "solved"),
        ("e", "no corner is ringed"),
        ("v", "one picture"),
    ):
        hand.key(key)
        assert part in hand.bench.desk.said
    start = hand.click_picture((100.0, 100.0))
    hand.key("e")
    assert "21d too" in hand.bench.desk.said
    assert hand.places() == {"11d": start}


def test_q_saves_and_closes(tmp_path: Path) -> None:
    bench = bench_of_picture(grey_picture(), tmp_path)
    hand = hand_on(bench)
    hand.click_picture((100.0, 100.0))
    hand.key("q")
    assert bench.closing
    hand.click_picture((200.0, 100.0))
    assert set(hand.places()) == {"11d"}


def test_ctrl_s_saves_again(hand: Hand) -> None:
    start = hand.click_picture((100.0, 100.0))
    hand.bench.stores[0].path.unlink()
    hand.key("ctrl+s")
    assert read_corners(hand.bench.stores[0].path).points["11d"].x_px == start[0]


def test_every_action_has_a_key_and_every_key_an_effect(hand: Hand) -> None:
    bound = {binding.action for binding in BINDINGS}
    assert bound == set(Action)
    keys = [key for binding in BINDINGS for key in binding.keys]
    assert len(keys) == len(set(keys))
    for action in Action:
        hand.bench.act(action)  # one that nobody handles raises


def test_capital_letters_and_shift_make_no_difference() -> None:
    assert action_of("U") is Action.UNSURE
    assert action_of("shift+u") is Action.UNSURE
    assert action_of("ctrl+Z") is action_of("ctrl+shift+z") is Action.REDO


def test_clicks_outside_the_picture_are_refused(hand: Hand) -> None:
    hand.click(hand.on_screen((100.0, -10.0)))
    assert hand.places() == {}
    assert "outside" in hand.bench.desk.said


def test_a_lost_release_does_not_keep_pulling(hand: Hand) -> None:
    at = hand.on_screen((100.0, 100.0))
    hand.mouse("button_press", at, button=1)
    hand.move(hand.on_screen((150.0, 120.0)))
    if hand.bench.desk.pulling:
        pytest.skip("this Matplotlib does not tell which buttons are down")
    assert near(hand.places()["11d"], hand.exact((100.0, 100.0)))


def test_marks_are_drawn_where_they_were_clicked(hand: Hand) -> None:
    hand.wheel((300.0, 300.0), 6)
    at = (301.0, 278.0)
    place = hand.bench.transform.to_picture(at)
    bare = hand.pixels.astype(int)
    hand.click(at)
    hand.move((1250.0, 700.0))
    changed = np.abs(hand.pixels.astype(int) - bare).sum(2) > 30
    rows, columns = np.nonzero(changed[:, : hand.bench.screen.picture.right])
    around = (np.abs(columns - at[0]) < 12) & (np.abs(rows - at[1]) < 12)
    # the ring and its halo are round: their middle is the mark, to half a screen pixel
    assert columns[around].mean() == pytest.approx(at[0], abs=0.5)
    assert rows[around].mean() == pytest.approx(at[1], abs=0.5)
    assert near(hand.places()["11d"], place)


def test_what_lies_under_the_cursor_is_what_the_picture_holds_there(hand: Hand) -> None:
    hand.key("1")
    image = hand.bench.frame.views[0].image
    x, y = (round(v) for v in hand.on_screen((400.0, 240.0)))
    exact = hand.bench.transform.to_picture((x, y))
    column, row = round(exact[0]), round(exact[1])
    shown = hand.pixels[y, x, :3].astype(int)
    around = image[row - 1 : row + 2, column - 1 : column + 2].reshape(-1, 3).astype(int)
    assert (around.min(0) - 1 <= shown).all() and (shown <= around.max(0) + 1).all()
    left = hand.on_screen((-0.5, 100.0))[0]
    if left > 2:
        assert tuple(hand.pixels[round(hand.on_screen((0, 100.0))[1]), round(left) - 2, :3]) == SURROUND


@pytest.mark.parametrize("size", [(1280, 800), (2560, 1440), (700, 420), (420, 300)])
def test_any_size_of_window_draws_and_takes_clicks(tmp_path: Path, size: tuple[int, int]) -> None:
    hand = hand_on(bench_of_picture(grey_picture(), tmp_path), size)
    meant = hand.click_picture((320.0, 240.0))
    hand.key("?", "?", "m", "1")
    assert hand.pixels.shape == (size[1], size[0], 4)
    assert hand.places()["11d"] == meant


def test_resizing_keeps_a_whole_picture_whole(hand: Hand) -> None:
    hand.canvas.figure.set_size_inches(9.0, 6.0)
    hand.canvas.draw()
    area, view = hand.bench.screen.picture, hand.bench.transform
    assert area.right < 900
    assert view.scale * 640 <= area.width + 1e-6
    assert view.scale * 480 <= area.height + 1e-6
    assert hand.click_picture((320.0, 240.0)) == hand.places()["11d"]


@pytest.mark.slow
def test_dirty_rectangles_leave_what_a_whole_redraw_gives(hand: Hand) -> None:
    """After any run of events the canvas shows what drawing it all at once would."""
    rng = np.random.default_rng(5)
    keys = ["left", "shift+up", "u", "c", "z", "y", "b", "n", "h", "g", "+", "-", "?", "?"]
    for step in range(80):
        at = (float(rng.uniform(0, 1279)), float(rng.uniform(0, 799)))
        kind = rng.integers(5)
        if kind == 0:
            hand.click(at)
        elif kind == 1:
            hand.wheel(at, float(rng.choice([-1, 1])))
        elif kind == 2:
            hand.key(str(rng.choice(keys)))
        else:
            hand.move(at)
        if step % 8 == 7:
            patched = hand.pixels
            hand.canvas.draw()
            differs = np.nonzero((patched != hand.pixels).any(2))
            assert not differs[0].size, (
                f"rows {np.ptp(differs[0])} columns {differs[1].min()} {differs[1].max()}"
            )


def test_saved_file_is_what_the_window_shows(hand: Hand) -> None:
    click_four(hand)
    hand.key("c", "n", "h")
    saved = read_corners(hand.bench.stores[0].path)
    assert dict(saved.points) == dict(hand.bench.desk.here.points)
    assert json.loads(hand.bench.stores[0].path.read_text())["image"] == {
        "file": "front.png",
        "width": 640,
        "height": 480,
    }


def test_the_window_says_so_when_a_save_fails(hand: Hand) -> None:
    x, _ = hand.click_picture((100.0, 100.0))
    path = hand.bench.stores[0].path
    path.unlink()
    path.mkdir()
    hand.key("right")
    assert not hand.bench.save_status.saved
    assert "folder" in hand.bench.save_status.why_not
    first = hand.bench.desk.said
    hand.key("left")
    assert "not saved" in first
    assert "not saved" not in hand.bench.desk.said, "the reason is said once, and then stays in the panel"
    path.rmdir()
    hand.key("right")
    assert hand.bench.save_status.saved
    assert hand.saved()["points"]["11d"]["x"] == pytest.approx(x + 0.1)
