"""Bite frame, rig, device and cast files: what is read, and each rule between keys."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bite.errors import InputError
from bite.files.beside import look_beside
from bite.files.cast import read_cast
from bite.files.device import devices_from_tables, read_device_file
from bite.files.frame import Axes, MapEntry, StereoEntry, read_frame_file
from bite.files.frame_draft import frame_path_for, frame_text
from bite.files.rig import PartNames, PartRange, read_rig
from bite.geometry.teeth import Part
from tests.files.scene import CAST, FRAME, RIG

POSE = "pose = [[1,0,0,0],[0,1,0,0],[0,0,1,300],[0,0,0,1]]"
CORNERS_MM = "[solved]\ncorners_mm = { 11d = [-8.5, 1.0, 301.2] }\nforward = [0.0, 0.0, -2.0]\n"
HEAD = FRAME[: FRAME.index("[depth]")]
MAP = 'map = "m.png"\n'


def frame_with(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "a.bite.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_reads_paths_relative_to_the_file(tmp_path: Path) -> None:
    file = read_frame_file(frame_with(tmp_path, FRAME))
    assert file.views[0].image == tmp_path / "front.png"
    assert isinstance(file.depth, MapEntry) and file.depth.unit_mm == 0.1 and file.depth.view == "front"
    assert file.solved is not None and file.solved.axes is Axes.OPENCV and file.solved.dial == 0.0
    assert file.solved.rig == tmp_path / "rig" / "rig.toml"
    assert file.device_file is None


def test_reads_poses_and_corner_positions(tmp_path: Path) -> None:
    posed = read_frame_file(frame_with(tmp_path, FRAME.replace('axes = "opencv"', POSE)))
    assert np.array_equal(posed.solved.pose[:, 3], [0, 0, 300, 1]) and posed.solved.axes is None
    free = read_frame_file(frame_with(tmp_path, FRAME.replace('axes = "opencv"', 'pose = "landmarks"')))
    assert free.solved.pose == "landmarks"
    corners = read_frame_file(frame_with(tmp_path, HEAD + CORNERS_MM))
    assert np.array_equal(corners.solved.forward, [0, 0, -1])
    assert np.array_equal(corners.solved.corners_mm["11d"], [-8.5, 1.0, 301.2])


def test_reads_forward_alone_beside_a_profile(tmp_path: Path) -> None:
    text = HEAD + '[depth]\nprofile = "p.csv"\n[solved]\nforward = [0, 0, -1]\nrig = "r.toml"\ndial = 0.25\n'
    assert read_frame_file(frame_with(tmp_path, text)).solved.dial == 0.25


@pytest.mark.parametrize("key", ['device = "x.device.toml"', 'device = "x"\ndevice_file = "x.device.toml"'])
def test_device_file_may_be_named(tmp_path: Path, key: str) -> None:
    file = read_frame_file(frame_with(tmp_path, FRAME.replace('device = "bench-depth"', key)))
    assert (file.device, file.device_file) == ("x", tmp_path / "x.device.toml")


BAD_FRAMES = {
    "misspelt key": (FRAME.replace("unit_mm = 0.1", "unit_m = 0.1"), "did you mean 'unit_mm'?"),
    "misspelt table": (FRAME.replace("[depth]", "[dept]"), "did you mean 'depth'?"),
    "no depth unit": (FRAME.replace("unit_mm = 0.1\n", ""), "write mm per stored unit"),
    "no mesh unit": (FRAME.replace("unit_mm = 10.0\n", ""), "write mm per unit of the mesh"),
    "two depth units": (FRAME.replace("unit_mm = 0.1", "unit_mm = 0.1\ninverse_per_m = [1.5, 4.4]"), "both"),
    "flat inverse": (FRAME.replace("unit_mm = 0.1", "inverse_per_m = [1.5, 1.5]"), "both values are 1.5"),
    "negative unit": (FRAME.replace("unit_mm = 0.1", "unit_mm = -0.1"), "greater than 0"),
    "nan unit": (FRAME.replace("unit_mm = 0.1", "unit_mm = nan"), "finite"),
    "unit as text": (FRAME.replace("unit_mm = 0.1", 'unit_mm = "0.1"'), "valid number"),
    "unit as truth": (FRAME.replace("unit_mm = 0.1", "unit_mm = true"), "valid number"),
    "no view or camera": (FRAME.replace('view = "front"\n', ""), "got neither of view and camera"),
    "view and camera": (FRAME.replace('view = "front"', 'view = "front"\ncamera = "c.yaml"'), "got both"),
    "unknown view": (FRAME.replace('view = "front"', 'view = "frnt"'), "did you mean 'front'?"),
    "empty depth": (HEAD + "[depth]\n", "got none of them"),
    "stereo of one": (HEAD + '[depth]\nstereo = ["front", "front"]\n', "twice"),
    "stereo with a unit": (HEAD + '[depth]\nstereo = ["front", "side"]\nunit_mm = 1.0\n', "belongs to a map"),
    "stereo unknown": (HEAD + '[depth]\nstereo = ["front", "side"]\n', "no view named 'side'"),
    "no axes": (FRAME.replace('axes = "opencv"\n', ""), 'write axes = "opencv" or "y-up"'),
    "unknown axes": (FRAME.replace('"opencv"', '"z-up"'), "'opencv' or 'y-up'"),
    "no rig": (FRAME.replace('rig = "rig/rig.toml"\n', ""), "name the rig file"),
    "no dial": (FRAME.replace("dial = 0.0\n", ""), "write the dial value"),
    "infinite dial": (FRAME.replace("dial = 0.0", "dial = inf"), "[solved] dial"),
    "scaled pose": (
        FRAME.replace('axes = "opencv"', POSE.replace("[0,1,0,0]", "[0,10,0,0]")),
        "write scale in unit_mm",
    ),
    "mirrored pose": (
        FRAME.replace('axes = "opencv"', POSE.replace("[0,1,0,0]", "[0,-1,0,0]")),
        "not a rotation",
    ),
    "short pose": (FRAME.replace('axes = "opencv"', "pose = [[1,0,0,0]]"), "4x4"),
    "pose last row": (FRAME.replace('axes = "opencv"', POSE.replace("[0,0,0,1]", "[0,0,300,1]")), "last row"),
    "pose of nan": (FRAME.replace('axes = "opencv"', POSE.replace("300", "nan")), "4x4"),
    "unknown pose": (FRAME.replace('axes = "opencv"', 'pose = "marks"'), "'marks'"),
    "empty solved": (HEAD + "[solved]\n", "no solved model"),
    "forward alone": (HEAD + "[solved]\nforward = [0, 0, 1]\n", "no solved model"),
    "corners without forward": (
        HEAD + CORNERS_MM[: CORNERS_MM.index("forward")],
        "[solved] forward: missing",
    ),
    "forward without length": (HEAD + CORNERS_MM.replace("-2.0", "0.0"), "has no direction"),
    "unknown corner": (HEAD + CORNERS_MM.replace("11d", "12d"), "unknown corner '12d'"),
    "mesh and corners": (FRAME + "corners_mm = { 11d = [1, 2, 3] }\n", "both given"),
    "unit without mesh": (HEAD + CORNERS_MM + "unit_mm = 1.0\n", "belongs to a mesh"),
    "name with a folder": (FRAME.replace('"tern-a07"', '"a/b"'), "holds /"),
    "name of dots": (FRAME.replace('"tern-a07"', '".."'), "cannot be part of a file name"),
    "empty name": (FRAME.replace('"tern-a07"', '""'), "at least 1 character"),
    "long name": (FRAME.replace('"tern-a07"', f'"{"x" * 101}"'), "101 characters"),
    "no view": (FRAME.replace(FRAME[FRAME.index("[[view]]") : FRAME.index("[depth]")], ""), "[[view]] table"),
    "view table for list": (FRAME.replace("[[view]]", "[view]"), "valid list"),
    "view names twice": (HEAD + FRAME[FRAME.index("[[view]]") :], "names two views"),
    "no camera": (FRAME.replace('camera = "front.camera.yaml"\n', ""), "[view 1] camera: missing"),
    "no format": (FRAME.replace('format = "bite-frame 1"\n', ""), 'write format = "bite-frame 1"'),
    "rig for frame": (RIG, "got 'bite-rig 1' (a rig), needed 'bite-frame 1'"),
    "later version": (FRAME.replace("bite-frame 1", "bite-frame 2"), "got 'bite-frame 2', needed"),
    "not TOML": (FRAME.replace('"tern"', "tern"), "line 3, column 13: not TOML"),
    "doubled key": (FRAME.replace('performer = "tern"', 'performer = "tern"\nperformer = "a"'), "not TOML"),
    "nested deep": ("a = " + "[" * 5000, "a.bite.toml"),
    "no text": ("  \n", "holds no text"),
}


@pytest.mark.parametrize("case", BAD_FRAMES)
def test_bad_frame_is_refused(tmp_path: Path, refuses, case: str) -> None:
    text, expected = BAD_FRAMES[case]
    path = frame_with(tmp_path, text)
    assert expected in refuses(lambda: read_frame_file(path))


def test_other_file_name_is_refused(tmp_path: Path, refuses) -> None:
    path = tmp_path / "a.toml"
    path.write_text(FRAME)
    assert "does not end in .bite.toml" in refuses(lambda: read_frame_file(path))


def test_two_views_may_be_a_stereo_pair(tmp_path: Path) -> None:
    second = HEAD[HEAD.index("[[view]]") :].replace("front", "side")
    file = read_frame_file(frame_with(tmp_path, HEAD + second + '[depth]\nstereo = ["front", "side"]\n'))
    assert file.depth == StereoEntry(("front", "side"))


def rig_with(tmp_path: Path, old: str = "", new: str = "") -> Path:
    assert old in RIG
    path = tmp_path / "rig.toml"
    path.write_text(RIG.replace(old, new, 1) if old else RIG)
    return path


def test_reads_a_rig(tmp_path: Path) -> None:
    rig = read_rig(rig_with(tmp_path))
    assert rig.rest == tmp_path / "rest.obj"
    assert np.allclose(rig.forward, [0, 0, 1]) and np.allclose(rig.up, [0, 1, 0])
    assert rig.parts[Part.UPPER] == PartNames(("teeth_up",)) and rig.parts[Part.LOWER] == PartRange(8, 11)
    assert rig.corners == {"11d": 4, "21d": 5} and rig.landmarks == {"subnasale": 0}
    assert rig.dial.positive_is_back and rig.dial.mm_per_unit == 3.2
    assert (rig.dial.limit, rig.dial.step, rig.dial.travel) == (1.0, 0.01, None)
    assert rig.teeth is None


@pytest.mark.parametrize("whose", ["scanned", "modelled"])
def test_reads_whose_teeth_they_are(tmp_path: Path, whose: str) -> None:
    rig = read_rig(rig_with(tmp_path, "unit_mm = 10.0\n", f'unit_mm = 10.0\nteeth = "{whose}"\n'))
    assert rig.teeth == whose


def test_reads_measured_travel(tmp_path: Path) -> None:
    rig = read_rig(rig_with(tmp_path, "mm_per_unit = 3.2", "travel = [[-1.0, 3.1], [0.0, 0.0], [1, -3.3]]"))
    assert np.array_equal(rig.dial.travel, [[-1, 3.1], [0, 0], [1, -3.3]]) and rig.dial.mm_per_unit is None


def test_a_dial_that_nobody_measured_is_allowed(tmp_path: Path) -> None:
    rig = read_rig(rig_with(tmp_path, "mm_per_unit = 3.2\n", ""))
    assert rig.dial.mm_per_unit is None and rig.dial.travel is None


BAD_RIGS = {
    "no direction of the dial": ('positive = "back"\n', "", "which way a positive dial moves the teeth"),
    "another direction": ('"back"', '"left"', "'back' or 'forward'"),
    "no unit": ("unit_mm = 10.0\n", "", "mm per unit of the export"),
    "both scales": ("mm_per_unit = 3.2", "mm_per_unit = 3.2\ntravel = [[0, 0], [1, -1]]", "both given"),
    "zero scale": ("3.2", "0", "greater than 0"),
    "sd of nothing": ("mm_per_unit = 3.2", "mm_per_unit_sd = 0.1", "an sd of nothing"),
    "travel against positive": (
        "mm_per_unit = 3.2",
        "travel = [[0, 0], [1, 3.2]]",
        "moves the teeth forward here",
    ),
    "travel turning round": ("mm_per_unit = 3.2", "travel = [[-1, 3], [0, 0], [1, 1]]", "turns round"),
    "travel not rising": ("mm_per_unit = 3.2", "travel = [[0, 0], [0, -1]]", "rising values"),
    "travel of one": ("mm_per_unit = 3.2", "travel = [[0, 0]]", "at least 2"),
    "travel of triples": ("mm_per_unit = 3.2", "travel = [[0, 0, 1], [1, 2, 3]]", "at most 2"),
    "no limit": ("mm_per_unit = 3.2", "limit = 0", "greater than 0"),
    "step over limit": ("mm_per_unit = 3.2", "step = 2.0", "larger than the limit"),
    "no part": ('skin = ["face"]\n', "", "[parts] skin: missing"),
    "unknown part": ("other =", "gum =", "unknown part 'gum'"),
    "part as text": ('["face"]', '"face"', "write object or group names"),
    "part as nothing": ('["face"]', "[]", "write object or group names"),
    "range backwards": ("[8, 11]", "[11, 8]", "first <= last"),
    "range negative": ("[8, 11]", "[-1, 8]", "first <= last"),
    "range of fractions": ("[8, 11]", "[1.5, 8]", "write object or group names"),
    "range misspelt": ("vertices", "vertexes", "did you mean 'vertices'?"),
    "unknown corner": ("11d = 4", "13d = 4", "unknown corner '13d'"),
    "corners on one vertex": ("21d = 5", "21d = 4", "also 11d"),
    "negative corner": ("11d = 4", "11d = -4", "greater than or equal to 0"),
    "unknown landmark": ("subnasale", "subnasal", "did you mean 'subnasale'?"),
    "up along forward": ("up = [0.0, 1.0, 0.1]", "up = [0.0, 0.1, 1.0]", "degrees apart"),
    "flat forward": ("forward = [0.0, 0.0, 2.0]", "forward = [0.0, 0.0, 0.0]", "no direction"),
    "short forward": ("forward = [0.0, 0.0, 2.0]", "forward = [0.0, 1.0]", "at least 3"),
    "unknown key": ("[dial]", "[dial]\nlimits = 1", "did you mean 'limit'?"),
    "teeth misspelt": ("unit_mm = 10.0", 'unit_mm = 10.0\nteeth = "scaned"', "did you mean 'scanned'?"),
    "teeth of some other kind": (
        "unit_mm = 10.0",
        'unit_mm = 10.0\nteeth = "real"',
        "needed 'scanned' or 'modelled'; write \"scanned\" for the performer's own teeth",
    ),
    "teeth as a number": ("unit_mm = 10.0", "unit_mm = 10.0\nteeth = 1", "'scanned' or 'modelled'"),
    "huge number": ("11d = 4", "11d = " + "9" * 5000, "rig.toml"),
}


@pytest.mark.parametrize("case", BAD_RIGS)
def test_bad_rig_is_refused(tmp_path: Path, refuses, case: str) -> None:
    old, new, expected = BAD_RIGS[case]
    path = rig_with(tmp_path, old, new)
    assert expected in refuses(lambda: read_rig(path))


def test_device_file_may_hold_tables_or_one_device(tmp_path: Path) -> None:
    path = tmp_path / "d.device.toml"
    path.write_text("[device.a]\nnoise_mm = 0.3\n[device.b]\nnoise_mm = 0.4\n")
    assert read_device_file(path, "b").noise_mm == 0.4
    path.write_text("noise_mm = 0.5\n")
    one = read_device_file(path, "z")
    assert (one.name, one.noise_mm, one.smoothing_px, one.source) == ("z", 0.5, None, "d.device.toml")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[device.aa]\nnoise_mm = 0.3\n", "did you mean 'aa'?"),
        ("[device.a]\nnoise = 0.3\n", "did you mean 'noise_mm'?"),
        ('[device.a]\nfilter = "medain"\n', "did you mean 'median'?"),
        ('[device.a]\nfilter = "bilateral"\n', "needed 'gauss', 'box', 'median' or 'edge-preserving'"),
        ("[device.a]\nfilter = 3\n", "got 3, needed 'gauss'"),
        ("noise_mm = -1\n", "greater than 0"),
        ("device = 3\n", "needed tables"),
        ("[device]\na = 3\n", "device.a"),
        ("noise_mm = 1\n[device.a]\n", "stands beside"),
    ],
)
def test_bad_device_is_refused(tmp_path: Path, refuses, text: str, expected: str) -> None:
    path = tmp_path / "d.device.toml"
    path.write_text(text)
    assert expected in refuses(lambda: read_device_file(path, "a"))


@pytest.mark.parametrize("kind", ["gauss", "box", "median", "edge-preserving"])
def test_kind_of_filter_is_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "d.device.toml"
    path.write_text(f'[device.a]\nsmoothing_px = 1.5\nfilter = "{kind}"\n')
    assert read_device_file(path, "a").filter == kind


def test_devices_from_tables_keep_names() -> None:
    devices = devices_from_tables({"a": {"enamel_bias_mm": -0.1}}, "birds.toml")
    assert devices["a"].enamel_bias_mm == -0.1 and devices["a"].source == "birds.toml"


def test_reads_a_cast(tmp_path: Path) -> None:
    path = tmp_path / "birds.toml"
    path.write_text(CAST.replace('["*/*.bite.toml"]', '["*/*.bite.toml", "b/*.bite.toml"]'))
    for name in ("b/2.bite.toml", "a/1.bite.toml", "b/notes.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(FRAME)
    cast = read_cast(path)
    assert cast.tolerance_mm == 0.5 and cast.performance_device == "head-worn"
    assert cast.devices["head-worn"].noise_mm == 0.3


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('frames = ["*/*.bite.toml"]', "frames = []", "at least 1"),
        ('"*/*.bite.toml"', '"/etc/*"', "not a relative one"),
        ('"*/*.bite.toml"', '"a**b/*"', "not a relative one"),
        ("performance_device", "performance_devise", "did you mean 'performance_device'?"),
        ("[device.head-worn]", "tolerance_mm = 0\n[device.head-worn]", "greater than 0"),
        ("noise_mm", "noise", "[device.head-worn] noise"),
    ],
)
def test_bad_cast_is_refused(tmp_path: Path, refuses, old: str, new: str, expected: str) -> None:
    path = tmp_path / "birds.toml"
    assert old in CAST
    path.write_text(CAST.replace(old, new, 1))
    assert expected in refuses(lambda: read_cast(path))


def test_all_missing_keys_are_named_at_once(tmp_path: Path) -> None:
    path = tmp_path / "a.bite.toml"
    path.write_text('format = "bite-frame 1"\nname = "a"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"performer: missing, and so are device, view; write who is seen"):
        read_frame_file(path)


def test_a_draft_names_every_line_that_waits(tmp_path: Path) -> None:
    image = tmp_path / "front.png"
    for name in ("front.depth.png", "solved.obj"):
        (tmp_path / name).write_bytes(b"x")
    path = frame_path_for(image, "a")
    text = frame_text(image, "a", look_beside(image), {})
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_frame_file(path)
    asked = [line for line in text.splitlines() if line.startswith("# FILL IN: ")]
    assert len(asked) > 5
    for line in asked:
        assert line.removeprefix("# FILL IN: ").partition(" =")[0] in caught.value.mend


def test_a_draft_with_another_fault_is_told_that_fault(tmp_path: Path) -> None:
    path = tmp_path / "a.bite.toml"
    path.write_text('# FILL IN: performer = "x"\nformat = "bite-frame 1"\nnmae = "a"\n', encoding="utf-8")
    with pytest.raises(InputError, match="did you mean 'name'"):
        read_frame_file(path)
