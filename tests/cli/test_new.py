"""`bite new`: finds what lies beside a picture, leaves marked blanks, never prompts or overwrites unasked."""

import io
import shutil
import sys
from pathlib import Path

import pytest

from bite.cli import main
from bite.files.beside import look_beside
from bite.files.bundle import load_frame
from bite.files.frame import StereoEntry
from bite.files.frame_draft import BLANK

DEMO = Path(__file__).parents[2] / "demo_bite"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The files of a demo frame without its frame file."""
    shutil.copytree(DEMO / "tern", tmp_path / "tern")
    shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
    (tmp_path / "tern" / "tern-a07.bite.toml").unlink()
    return tmp_path / "tern"


class Terminal(io.StringIO):
    """Answers as a person on a terminal types them."""

    def isatty(self) -> bool:
        return True


def typed(monkeypatch: pytest.MonkeyPatch, answers: str) -> None:
    monkeypatch.setattr(sys, "stdin", Terminal(answers))
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)


def test_finds_what_lies_beside(folder: Path) -> None:
    beside = look_beside(folder / "front.png")
    found = (beside.camera, beside.depth, beside.depth_camera, beside.mesh, beside.rig, beside.device_file)
    names = [path.name for path in found if path is not None]
    assert names == [
        "front.camera.yaml",
        "front.depth.png",
        "depth.camera.yaml",
        "solved.obj",
        "rig.toml",
        "bench-depth.device.toml",
    ]
    assert beside.doubtful == ()


def test_without_a_terminal_blanks_are_marked(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["new", str(folder / "front.png"), "--name", "tern-a07"])
    out = capsys.readouterr()
    text = (folder / "tern-a07.bite.toml").read_text()
    assert code == 1
    assert out.out.strip() == str(folder / "tern-a07.bite.toml")
    assert text.count(BLANK) == 5
    assert "performer" in out.err and "[depth] unit_mm" in out.err
    assert 'map = "front.depth.png"' in text


def test_filled_in_by_hand_the_frame_is_complete(folder: Path) -> None:
    main(["new", str(folder / "front.png"), "--name", "tern-a07"])
    path = folder / "tern-a07.bite.toml"
    path.write_text(path.read_text().replace(BLANK, ""))
    frame = load_frame(path)
    assert frame.depth_map is not None and frame.solved_mesh is not None
    assert frame.views[0].corners is not None
    assert frame.device.smoothing_px is not None


def test_answers_on_a_terminal_fill_the_blanks(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "tern\n0,1\n0.1\n10\nsideways\nopencv\n0\n")
    assert main(["new", str(folder / "front.png")]) == 0
    assert capsys.readouterr().err.count("needed") == 2
    frame = load_frame(folder / "front.bite.toml")
    assert (frame.name, frame.file.performer) == ("front", "tern")


def test_an_empty_answer_and_the_end_of_input_leave_blanks(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed(monkeypatch, "tern\n\n10\n")
    assert main(["new", str(folder / "front.png")]) == 1
    text = (folder / "front.bite.toml").read_text()
    assert 'performer = "tern"' in text
    assert f"{BLANK}unit_mm = 0.1" in text and f"{BLANK}axes" in text


def test_never_writes_over_a_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = folder / "front.bite.toml"
    path.write_text("mine")
    assert main(["new", str(folder / "front.png")]) == 2
    assert path.read_text() == "mine"
    assert "is there already" in capsys.readouterr().err


def test_a_picture_alone_gives_a_frame_that_says_what_is_missing(tmp_path: Path) -> None:
    shutil.copy(DEMO / "tern" / "front.png", tmp_path / "smile.png")
    assert main(["new", str(tmp_path / "smile.png")]) == 1
    text = (tmp_path / "smile.bite.toml").read_text()
    assert f"{BLANK}camera" in text
    assert "# [depth]" in text and "# [solved]" in text


def test_two_candidates_are_said_and_neither_is_taken(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(folder / "front.camera.yaml", folder / "front.camera.yml")
    main(["new", str(folder / "front.png")])
    assert "more than one camera file" in capsys.readouterr().err
    assert f"{BLANK}camera" in (folder / "front.bite.toml").read_text()


@pytest.mark.parametrize("name", ["no.png", "rig.toml"])
def test_what_is_no_picture_is_refused_in_one_line(
    folder: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(folder / name)]) == 2
    assert len(capsys.readouterr().err.strip().split("\n")) == 1


def test_a_picture_calibrated_to_the_first_is_the_second_view_of_a_pair(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("front", "side"):
        for ending in (".jpg", ".camera.yaml"):
            shutil.copy(DEMO / "godwit" / f"{name}{ending}", tmp_path)
    shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
    assert look_beside(tmp_path / "front.jpg").second == tmp_path / "side.jpg"
    assert main(["new", str(tmp_path / "front.jpg"), "--name", "pair"]) == 1
    path = tmp_path / "pair.bite.toml"
    path.write_text(path.read_text().replace(BLANK, ""))
    frame = load_frame(path)
    assert [view.name for view in frame.views] == ["front", "side"]
    assert frame.views[1].camera.camera_from_reference.translation_mm.any()
    assert frame.file.depth == StereoEntry(("front", "side"))
    # seen from the other side, nothing says where the first one stands: that is told at once
    assert look_beside(tmp_path / "side.jpg").second is None
    assert "start from" not in capsys.readouterr().err
    assert main(["new", str(tmp_path / "side.jpg"), "--name", "other way"]) == 1
    assert "side.camera.yaml places this camera beside another one" in capsys.readouterr().err
    # a third: which two belong together, a person must say
    shutil.copy(tmp_path / "side.jpg", tmp_path / "other.jpg")
    shutil.copy(tmp_path / "side.camera.yaml", tmp_path / "other.camera.yaml")
    beside = look_beside(tmp_path / "front.jpg")
    assert beside.second is None and beside.doubtful == (
        "more than one second view would do: other.jpg, side.jpg",
    )


def test_a_depth_map_and_its_camera_are_no_second_view(folder: Path) -> None:
    shutil.copy(folder / "depth.camera.yaml", folder / "front.depth.camera.yaml")
    beside = look_beside(folder / "front.png")
    assert beside.second is None and beside.depth == folder / "front.depth.png"
    assert main(["new", str(folder / "front.png")]) == 1
    assert "stereo" not in (folder / "front.bite.toml").read_text()


def test_a_jpeg_with_more_pictures_in_it_says_so(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Phones keep depth there in forms of their own: nobody shall think it was taken."""
    from tests.files.test_jpeg_pictures import with_index

    (folder / "phone.jpg").write_bytes(with_index(2, "<"))
    main(["new", str(folder / "phone.jpg"), "--name", "tern-a08"])
    assert "phone.jpg: holds more pictures (1) that are not read" in capsys.readouterr().err
