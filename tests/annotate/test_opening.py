"""Opening a frame from disk: corner files that are missing, unnamed or damaged."""

import shutil
from pathlib import Path

import pytest

from bite.annotate.opening import open_bench, open_picture
from bite.errors import InputError
from bite.files.bundle import load_frame
from bite.files.corners import read_corners
from tests.annotate.support import NOON, Hand, grey_picture, hand_on

DEMO = Path(__file__).parents[2] / "demo_bite"


@pytest.fixture
def frame(tmp_path: Path) -> Path:
    """A copy of the demo frame with two views."""
    shutil.copytree(DEMO / "godwit", tmp_path / "godwit")
    shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
    path = tmp_path / "godwit" / "godwit-e06.bite.toml"
    # meshes take a second to read and play no part here
    path.write_text(path.read_text().partition("[solved]")[0])
    return path


def opened(frame: Path) -> Hand:
    return hand_on(open_bench(frame, annotator="ab", now=lambda: NOON, live=False))


def test_goes_on_with_what_was_clicked_before(frame: Path) -> None:
    hand = opened(frame)
    assert hand.places()["11d"] == (384.73, 638.38)
    assert hand.bench.desk.asked is None
    before = frame.with_name("front.corners.json").read_bytes()
    hand.key("q")
    assert frame.with_name("front.corners.json").read_bytes() == before, "nothing changed, nothing written"


@pytest.mark.slow
def test_a_named_file_that_nobody_has_written_yet_is_no_trouble(frame: Path) -> None:
    frame.with_name("side.corners.json").unlink()
    hand = opened(frame)
    hand.key("v")
    assert hand.places() == {}
    hand.click_picture((387.0, 634.0))
    assert len(load_frame(frame).views[1].corners.points) == 1  # type: ignore[union-attr]  # None fails the test


@pytest.mark.slow
def test_a_frame_that_names_no_corner_file_names_it_after_the_first_save(frame: Path) -> None:
    text = frame.read_text()
    frame.write_text(text.replace('corners = "front.corners.json"\n', '# corners = "front.corners.json"\n'))
    frame.with_name("front.corners.json").unlink()
    hand = opened(frame)
    assert "# corners" in frame.read_text()
    hand.click_picture((384.0, 638.0))
    assert frame.read_text() == text
    assert "now names front.corners.json" in hand.bench.notes.lines[0]
    assert load_frame(frame).views[0].corners is not None


@pytest.mark.slow
def test_where_the_frame_cannot_be_changed_the_person_is_told_what_to_write(frame: Path) -> None:
    text = frame.read_text()
    frame.write_text(text.replace('corners = "front.corners.json"\n', ""))
    frame.with_name("front.corners.json").unlink()
    hand = opened(frame)
    frame.write_text("not toml [")
    hand.click_picture((384.0, 638.0))
    assert 'corners = "front.corners.json"' in hand.bench.notes.lines[0]
    assert hand.bench.save_status.saved


def test_a_damaged_file_is_kept_and_said(frame: Path) -> None:
    frame.with_name("front.corners.json").write_text("{ half")
    hand = opened(frame)
    assert "kept as front.corners.json.aside-1" in hand.bench.notes.lines[0]
    assert frame.with_name("front.corners.json.aside-1").read_text() == "{ half"
    assert hand.places() == {}


def test_another_pictures_clicks_are_refused(frame: Path) -> None:
    shutil.copy(frame.with_name("side.corners.json"), frame.with_name("front.corners.json"))
    with pytest.raises(InputError, match=r"clicked in side\.jpg"):
        opened(frame)


def test_a_picture_without_a_frame_file_is_clicked_and_saved_beside_itself(tmp_path: Path) -> None:
    image = grey_picture()
    bench = open_picture(tmp_path / "still.png", image, annotator="ab", now=lambda: NOON)
    hand = hand_on(bench)
    hand.click_picture((300.0, 200.0))
    saved = read_corners(tmp_path / "still.corners.json")
    assert saved.image_file == "still.png" and (saved.width_px, saved.height_px) == (640, 480)
    assert len(saved.points) == 1 and bench.save_status.saved
    again = open_picture(tmp_path / "still.png", image, annotator="ab", now=lambda: NOON)
    assert hand_on(again).places() == hand.places()


@pytest.mark.slow
def test_a_missing_mesh_does_not_keep_from_clicking_and_is_told(tmp_path: Path) -> None:
    shutil.copytree(DEMO / "tern", tmp_path / "tern")
    shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
    (tmp_path / "tern" / "solved.obj").unlink()
    path = tmp_path / "tern" / "tern-a07.bite.toml"
    hand = hand_on(open_bench(path, annotator="ab", now=lambda: NOON))
    answer = hand.bench.answer
    assert answer is not None and "solved.obj" in answer.troubles[0]
    assert hand.bench.frame.depth_map is not None, "depth is there all the same"
    hand.key("right")
    hand.click_picture(hand.places()["11d"])
    assert hand.bench.save_status.saved
    (tmp_path / "tern" / "front.png").unlink()
    with pytest.raises(InputError, match=r"solved\.obj|front\.png"):
        open_bench(path, annotator="ab", now=lambda: NOON)


@pytest.mark.slow
def test_opens_on_the_mouth_and_asks_at_once_without_a_click(tmp_path: Path) -> None:
    shutil.copytree(DEMO / "tern", tmp_path / "tern")
    shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
    known = read_corners(tmp_path / "tern" / "front.corners.json").points["11d"]
    (tmp_path / "tern" / "front.corners.json").unlink()
    path = tmp_path / "tern" / "tern-a07.bite.toml"
    hand = hand_on(open_bench(path, annotator="ab", now=lambda: NOON))
    at = hand.on_screen((known.x_px or 0.0, known.y_px or 0.0))
    assert hand.bench.screen.picture.grown(-100).holds(at)
    assert hand.bench.transform.scale > 4.0
    opened_at = hand.bench.transform
    hand.key("f", "m")
    assert hand.bench.transform == opened_at, "M needs no answer"
    import time

    end = time.monotonic() + 120
    while hand.bench.answer is None and time.monotonic() < end:
        hand.window.poll()
        time.sleep(0.02)
    assert hand.bench.answer is not None and "11d" in hand.bench.answer.next_click
    hand.bench.finish()
