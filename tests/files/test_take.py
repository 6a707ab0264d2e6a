"""Takes on disk: order, bad frames among good ones, videos that end early, and frames asked for by number."""

import os

import cv2
import numpy as np
import pytest

from bite.errors import InputError
from bite.files.take import TakeKind, TakePicture, Unreadable, depth_beside, open_take

SIZE = (64, 48)


def _image(number, size=SIZE):
    image = np.full((size[1], size[0], 3), 40, np.uint8)
    image[:, : 4 + number % (size[0] - 8)] = (200, 120, 10 + number)
    return image


def _folder(path, count=4, name="f{}.png"):
    path.mkdir()
    for number in range(count):
        cv2.imwrite(str(path / name.format(number)), _image(number))
    return path


def _video(path, count=20, codec="MJPG"):
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*codec), 25, SIZE)
    assert writer.isOpened()
    for number in range(count):
        writer.write(_image(number))
    writer.release()
    return path


def test_pictures_come_in_the_order_of_their_numbers(tmp_path):
    take = open_take(_folder(tmp_path / "t", 12))
    assert [path.name for path in take.pictures] == [f"f{k}.png" for k in range(12)]
    assert take.kind is TakeKind.PICTURES and take.name == "t" and take.count == 12
    numbers = [item.number for item in take.read(3, 6)]
    assert numbers == [3, 4, 5]


def test_depth_maps_and_own_sheets_are_no_frames(tmp_path):
    folder = _folder(tmp_path / "t", 2)
    for name in ("f0.depth.png", "t.choose.png", "f1.before-after.png", "depth.png"):
        cv2.imwrite(str(folder / name), np.zeros((4, 4), np.uint16))
    take = open_take(folder)
    assert [path.name for path in take.pictures] == ["f0.png", "f1.png"]
    first = next(iter(take.read()))
    assert isinstance(first, TakePicture)
    assert first.depth_path == depth_beside(folder / "f0.png") == folder / "f0.depth.png"


def test_one_broken_picture_among_many_is_told_and_skipped(tmp_path):
    folder = _folder(tmp_path / "t", 5)
    whole = (folder / "f2.png").read_bytes()
    (folder / "f2.png").write_bytes(whole[: len(whole) // 2])
    items = list(open_take(folder).read())
    assert [isinstance(item, TakePicture) for item in items] == [True, True, False, True, True]
    assert isinstance(items[2], Unreadable) and "f2.png" in items[2].why and "\n" not in items[2].why


def test_a_picture_of_another_size_than_most_is_told(tmp_path):
    folder = _folder(tmp_path / "t", 4)
    cv2.imwrite(str(folder / "f0.png"), _image(0, (30, 20)))
    take = open_take(folder)
    assert (take.width_px, take.height_px) == SIZE
    first = next(iter(take.read()))
    assert isinstance(first, Unreadable) and "30 x 20 pixels, most of the take has 64 x 48" in first.why


def test_a_video_is_read_in_order(tmp_path):
    take = open_take(_video(tmp_path / "t.avi"))
    items = list(take.read())
    assert take.kind is TakeKind.VIDEO and take.count == 20 and len(items) == 20
    widths = [int((item.image[24, :, 0] < 100).sum()) for item in items]
    assert widths == sorted(widths) and items[3].name == "t-f00003"
    assert take.number_of("t-f00003.png") == 3 and take.number_of("u-f00003.png") is None


@pytest.mark.parametrize("codec, ending", [("MJPG", "avi"), ("mp4v", "mp4")])
def test_a_stretch_of_a_video_holds_the_frames_that_reading_through_gave(tmp_path, codec, ending):
    take = open_take(_video(tmp_path / f"t.{ending}", 30, codec))
    whole = [item for item in take.read() if isinstance(item, TakePicture)]
    marks = [item.mark for item in whole]
    part = list(take.read(11, 17, marks))
    assert [item.number for item in part] == list(range(11, 17))
    for item in part:
        np.testing.assert_array_equal(item.image, whole[item.number].image)


def test_marks_that_do_not_match_send_it_through_from_the_start(tmp_path):
    take = open_take(_video(tmp_path / "t.avi"))
    whole = [item for item in take.read() if isinstance(item, TakePicture)]
    part = list(take.read(11, 13, [0] * 20))
    assert [item.mark for item in part] == [whole[11].mark, whole[12].mark]


def test_a_video_cut_short_gives_what_is_whole_and_says_so(tmp_path, capfd):
    path = _video(tmp_path / "t.avi")
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * 0.6)])
    take = open_take(path)
    items = list(take.read())
    pictures = [item for item in items if isinstance(item, TakePicture)]
    assert 0 < len(pictures) < 20
    if take.count > len(pictures):  # a header that was written before the end states all frames
        assert isinstance(items[-1], Unreadable) and "cut short" in items[-1].why
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    "data", [b"\x00\x00\x00\x18ftypmp42", b"RIFF\xff\xff\xff\xffAVI LIST", b"hello", b"\x1aE\xdf\xa3"]
)
def test_what_is_no_video_is_refused_in_one_line(tmp_path, capfd, data):
    path = tmp_path / "t.mp4"
    path.write_bytes(data * 30)
    with pytest.raises(InputError, match=r"cannot be read as a video|no frame of it can be read"):
        open_take(path)
    assert capfd.readouterr().err == ""


def test_nothing_an_empty_file_a_picture_and_an_empty_folder_are_refused(tmp_path):
    (tmp_path / "empty.mp4").write_bytes(b"")
    (tmp_path / "none").mkdir()
    cv2.imwrite(str(tmp_path / "one.png"), _image(0))
    for name, what in (
        ("missing.mp4", "no such file"),
        ("empty.mp4", "is empty"),
        ("none", "holds no picture"),
        ("one.png", "is one picture"),
    ):
        with pytest.raises(InputError, match=what):
            open_take(tmp_path / name)


def test_a_folder_of_broken_pictures_alone_is_refused(tmp_path):
    folder = tmp_path / "t"
    folder.mkdir()
    for number in range(3):
        (folder / f"{number}.png").write_bytes(os.urandom(50))
    with pytest.raises(InputError, match="none of its 3 pictures can be read"):
        open_take(folder)
