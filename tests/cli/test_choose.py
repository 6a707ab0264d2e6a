"""`bite choose` from the outside: what it prints and writes, its exit codes, and takes that are no good."""

import json
import os
import shutil

import cv2
import numpy as np
import pytest

from bite.files.corners import CornerState, read_corners, write_corners
from bite.files.frame import read_frame_file
from demo_bite.scene.take import Planted
from tests.choose.takes import (
    SIZE,
    STRETCH,
    STRETCHED,
    clicked_corners,
    small_take,
    write_pictures,
    write_video,
)
from tests.cli.runs import names_in, refusal

SHORT, FIRST_BEFORE = 8, 3
"""Frames of a short take, and how many of them stand before the clicked one."""


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    """Write a stretch of one small take as pictures, clicked once."""
    return write_pictures(small_take(STRETCHED), tmp_path_factory.mktemp("cli") / "grin", only=STRETCH)


@pytest.fixture
def take(pictures, tmp_path):
    """Copy that stretch for one test."""
    return shutil.copytree(pictures, tmp_path / "grin")


@pytest.fixture
def short(pictures, tmp_path):
    """Copy a few frames about the clicked one, for tests that ask for no place in the ranking."""
    folder, middle = tmp_path / "grin", small_take(STRETCHED).clicked
    folder.mkdir()
    for number in range(middle - FIRST_BEFORE, middle - FIRST_BEFORE + SHORT):
        shutil.copy(pictures / f"p{number}.png", folder)
    shutil.copy(pictures / f"p{middle}.corners.json", folder)
    return folder


@pytest.mark.slow
def test_a_clicked_folder_is_ranked(run, take, tmp_path):
    ran = run("choose", take, "--out", tmp_path / "out", "--best", "3")
    assert ran.code == 0
    assert ran.out.startswith("grin: BEST - frame ") and "expected sampling sd 0." in ran.out
    assert names_in(tmp_path / "out") == {"grin.choose.json", "grin.choose.png"}
    content = json.loads((tmp_path / "out" / "grin.choose.json").read_text(encoding="utf-8"))
    planted = small_take(STRETCHED).planted
    assert content["format"] == "bite-choose 1"
    assert STRETCH[content["clicked_frame"]] == small_take(STRETCHED).clicked
    assert [frame["rank"] for frame in content["frames"]] == list(range(1, content["frames_read"] + 1))
    first = {planted[STRETCH[frame["frame"]]] for frame in content["frames"][:3]}
    assert Planted.BEST in first
    sheet = cv2.imread(str(tmp_path / "out" / "grin.choose.png"))
    assert sheet.shape[1] == 1600 and np.ptp(sheet) == 255
    assert "usual bench sensor" in ran.err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_refused_without_waiting(run, tmp_path):
    os.mkfifo(tmp_path / "pipe.mp4")
    assert "is not a regular file" in refusal(run("choose", tmp_path / "pipe.mp4"))


@pytest.mark.slow
def test_json_is_the_file_and_nothing_else_and_quiet_is_one_line(run, short, tmp_path):
    ran = run("choose", short, "--out", tmp_path, "--json")
    assert ran.out == (tmp_path / "grin.choose.json").read_text(encoding="utf-8")
    before = (tmp_path / "grin.choose.json").read_bytes(), (tmp_path / "grin.choose.png").read_bytes()
    ran = run("choose", short, "--out", tmp_path, "--quiet")
    assert ran.out.count("\n") == 1
    after = (tmp_path / "grin.choose.json").read_bytes(), (tmp_path / "grin.choose.png").read_bytes()
    assert before == after


@pytest.mark.slow
def test_without_a_click_it_says_what_it_does_not_know(run, short):
    (short / f"p{small_take(STRETCHED).clicked}.corners.json").unlink()
    ran = run("choose", short)
    assert ran.code == 1 and "NOT JUDGED" in ran.out and "Click once" in ran.err
    assert (short.parent / "grin.choose.png").is_file()


@pytest.mark.slow
def test_write_makes_frame_files_and_carried_corners_and_leaves_what_is_there(run, short, tmp_path):
    ran = run("choose", short, "--best", "3", "--write")
    assert ran.code == 0 and ran.err.count("wrote ") == 3
    assert "carried corners are no clicks" in ran.err
    frames = sorted(short.glob("*.bite.toml"))
    assert len(frames) == 3  # two of them at least are not the clicked one
    for path in frames:
        stem = path.name.removesuffix(".bite.toml")
        assert f'corners = "{stem}.corners.json"' in path.read_text(encoding="utf-8")
        corners = read_corners(short / f"{stem}.corners.json")
        by_hand = stem == f"p{small_take(STRETCHED).clicked}"
        assert corners.annotator == ("ab" if by_hand else (
            f"carried by bite choose from frame {FIRST_BEFORE}; nobody has looked at them here yet"
        ))  # fmt: skip
        states = {point.state for point in corners.points.values()}
        assert states <= {CornerState.SEEN, CornerState.UNSURE, CornerState.COVERED}
        assert all(point.sigma_px > 0 for point in corners.points.values())
    kept = {path: path.read_bytes() for path in short.iterdir()}
    again = run("choose", short, "--best", "3", "--write")
    assert again.code == 0 and again.err.count("is there already, and is left as it is") == 6
    assert {path: path.read_bytes() for path in short.iterdir()} == kept


@pytest.mark.slow
def test_stills_of_a_video_are_written_and_read_as_frames(run, tmp_path):
    take = small_take(STRETCHED)
    video = write_video(take, tmp_path / "grin.avi", only=STRETCH)
    corners = tmp_path / "c.corners.json"
    write_corners(corners, clicked_corners(take, corners, "whatever.png"))
    refused = run("choose", video, "--corners", corners)
    assert "no frame of grin.avi by its name; name it with --frame N" in refusal(refused)
    ran = run(
        "choose", video, "--corners", corners, "--frame", STRETCH.index(take.clicked), "--best", "2",
        "--write", "--out", tmp_path / "out",
    )  # fmt: skip
    assert ran.code == 0
    stills = sorted((tmp_path / "out").glob("grin-f*.png"))
    assert len(stills) == 2 and cv2.imread(str(stills[0])).shape[:2] == SIZE[::-1]
    text = (tmp_path / "out" / f"{stills[0].stem}.bite.toml").read_text(encoding="utf-8")
    for key in ("performer", "device", "camera"):
        text = text.replace(f"# FILL IN: {key} =", f"{key} =")
    (tmp_path / "out" / "filled.bite.toml").write_text(text, encoding="utf-8")
    assert read_frame_file(tmp_path / "out" / "filled.bite.toml").name == stills[0].stem


@pytest.mark.slow
def test_good_frames_are_ranked_beside_broken_ones(run, short):
    other = small_take(STRETCHED).clicked + 3
    (short / f"p{other}.png").write_bytes(b"\x89PNG\r\n\x1a\n broken")
    cv2.imwrite(str(short / "p900.png"), np.zeros((20, 30, 3), np.uint8))
    ran = run("choose", short, "--quiet")
    assert ran.code == 0
    notes = [line for line in ran.err.splitlines() if "p900.png" in line or f"p{other}.png" in line]
    assert len(notes) == 2 and "Traceback" not in ran.err
    content = json.loads((short.parent / "grin.choose.json").read_text(encoding="utf-8"))
    assert content["frames_read"] == SHORT - 1


@pytest.mark.slow
def test_depth_maps_want_a_unit_and_then_count(run, short):
    rng = np.random.default_rng(0)
    for picture in list(short.glob("p*.png")):
        depth = 3000 + 4 * rng.normal(size=(SIZE[1], SIZE[0]))
        depth[:10] = 0
        cv2.imwrite(str(short / f"{picture.stem}.depth.png"), depth.astype(np.uint16))
    assert "give --unit-mm, such as --unit-mm 0.1, or --no-depth" in refusal(run("choose", short))
    ran = run("choose", short, "--unit-mm", "0.1", "--json")
    content = json.loads(ran.out)
    noises = [frame["depth_noise_mm"] for frame in content["frames"] if frame["depth_noise_mm"] is not None]
    # white noise of 0.4 mm was stored; the measured one is of the same size
    assert content["depth_maps_used"] and np.median(noises) == pytest.approx(0.4, rel=0.2)
    assert "usual bench sensor" not in ran.err
    (short / f"p{small_take(STRETCHED).clicked}.depth.png").write_bytes(b"rubbish")
    ran = run("choose", short, "--unit-mm", "0.1", "--quiet")
    assert ran.code in (0, 1) and "Traceback" not in ran.err


@pytest.mark.slow
@pytest.mark.parametrize(
    "arguments, what",
    [
        (("--frame", "999"), "got 999, needed 0 to"),
        (("--frame", "nose"), "got 'nose', needed 0 to"),
        (("--frame", "0"), "no corner file for frame 0 was found"),
        (("--corners", "missing.json"), "no such file"),
        (("--best", "0"), "needed a count from 1 to 1000"),
        (("--unit-mm", "-1"), "needed mm above 0"),
        (("--json", "--quiet"), "not allowed with argument"),
    ],
)
def test_wrong_arguments_are_told_in_one_line(run, take, arguments, what):
    assert what in refusal(run("choose", take, *arguments))


def test_no_take_is_refused_in_one_line(run, tmp_path):
    (tmp_path / "cut.mp4").write_bytes(b"\x00\x00\x00\x18ftypmp42" * 20)
    (tmp_path / "empty").mkdir()
    assert "no such file" in refusal(run("choose", tmp_path / "none.mp4"))
    assert "cannot be read as a video" in refusal(run("choose", tmp_path / "cut.mp4"))
    assert "holds no picture" in refusal(run("choose", tmp_path / "empty"))


@pytest.mark.slow
def test_annotate_clicks_then_ranks(run, short, monkeypatch):
    """The window is stood in for: what it would have saved is saved when it opens."""
    take_ = small_take(STRETCHED)
    kept = (short / f"p{take_.clicked}.corners.json").read_bytes()
    (short / f"p{take_.clicked}.corners.json").unlink()
    from bite.annotate.toolkit import canvas as toolkit

    class _Canvas:
        def __getattr__(self, name):
            return lambda *args, **more: None

    opened = []

    def open_canvas(title, size_px):
        opened.append(title)
        (short / f"p{take_.clicked}.corners.json").write_bytes(kept)
        return _Canvas(), lambda: None, lambda: None

    monkeypatch.setattr(toolkit, "open_canvas", open_canvas)
    monkeypatch.setattr("bite.annotate.toolkit.window.Window", lambda canvas, bench, close: None)
    ran = run("choose", short, "--annotate", "--frame", FIRST_BEFORE, "--quiet")
    assert ran.code == 0 and opened == [f"bite choose: p{take_.clicked}.png"]
