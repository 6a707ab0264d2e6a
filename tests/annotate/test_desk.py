"""The state machine on its own."""

import pytest

from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.desk import Desk, PictureSize
from bite.annotate.state.history import History
from bite.annotate.state.order import ORDER
from bite.files.corners import CornerPoint, CornerState
from bite.geometry.teeth import CORNERS, DISTAL_CORNERS, LANDMARKS


def desk(views: int = 1) -> Desk:
    sizes = [PictureSize(name, 100, 80) for name in ("front", "side")[:views]]
    return Desk(sizes, tuple(ViewClicks() for _ in sizes))


def test_order_asks_for_the_four_distal_corners_first_and_for_everything_once() -> None:
    assert ORDER[:4] == DISTAL_CORNERS
    assert sorted(ORDER) == sorted(CORNERS + LANDMARKS)


def test_history_is_exact_over_any_run() -> None:
    history, kept = History(0), [0]
    for value in range(1, 500):
        history.step("step", value)
        kept.append(value)
    for value in reversed(kept[:-1]):
        history.undo()
        assert history.present == value
    assert history.undo() is None
    for value in kept[1:]:
        history.redo()
        assert history.present == value
    assert history.redo() is None


def test_a_new_step_forgets_what_was_undone() -> None:
    history = History("a")
    history.step("b", "b")
    history.undo()
    history.step("c", "c")
    assert history.redo() is None
    assert history.present == "c"


def test_clicks_are_never_changed_in_place() -> None:
    one = desk()
    one.place((10.0, 10.0))
    before = one.clicks
    places = dict(before[0].places)
    one.nudge(1.0, 0.0)
    one.state_ringed(CornerState.UNSURE)
    one.remove_ringed()
    assert dict(before[0].places) == places


def test_undo_brings_back_what_was_asked_for_and_ringed() -> None:
    one = desk()
    one.place((10.0, 10.0))
    one.place((30.0, 10.0))
    assert (one.asked, one.ringed) == ("41d", "21d")
    one.undo()
    assert (one.asked, one.ringed) == ("21d", "11d")
    one.undo()
    assert (one.asked, one.ringed) == ("11d", None)


def test_a_moved_corner_keeps_its_state_and_sigma() -> None:
    start = ViewClicks({"11d": CornerPoint(CornerState.UNSURE, 10.0, 10.0, 0.7)})
    one = Desk([PictureSize("front", 100, 80)], (start,))
    one.press((10.0, 10.0), "11d")
    one.let_go()
    one.nudge(0.1, 0.0)
    assert one.here.points["11d"] == CornerPoint(CornerState.UNSURE, 10.1, 10.0, 0.7)


def test_each_view_has_its_own_clicks_and_undo_goes_back_to_the_view() -> None:
    one = desk(2)
    one.place((10.0, 10.0))
    one.switch_view()
    one.place((20.0, 20.0))
    one.switch_view()
    assert one.view == 0
    one.undo()
    assert one.view == 1
    assert [view.places for view in one.clicks] == [{"11d": (10.0, 10.0)}, {}]


def test_revision_grows_with_every_change_and_with_no_other() -> None:
    one = desk()
    one.ask("21d")
    assert one.revision == 0
    one.place((10.0, 10.0))
    one.nudge(0.1, 0.0)
    one.undo()
    one.redo()
    assert one.revision == 4
    one.redo()
    assert one.revision == 4


def test_all_clicked_asks_for_nothing_and_a_click_changes_nothing() -> None:
    one = desk()
    for number, _ in enumerate(ORDER):
        assert one.place((float(number), 10.0))
    assert one.asked is None
    assert not one.place((50.0, 50.0))
    assert len(one.here.places) == len(ORDER)


def test_a_pulled_mark_stays_in_the_picture() -> None:
    one = desk()
    one.press((10.0, 10.0), None)
    one.pull_to((500.0, -40.0))
    assert one.here.places["11d"] == (99.5, -0.5)


def test_landmarks_have_no_state() -> None:
    one = desk()
    one.ask("subnasale")
    one.place((10.0, 10.0))
    assert not one.state_ringed(CornerState.UNSURE)
    one.ask("pronasale")
    assert not one.hide_asked()
    with pytest.raises(ValueError, match="landmark"):
        one.here.stated("subnasale", CornerState.SEEN)
