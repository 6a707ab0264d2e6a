"""A phone's HEIF picture: taken apart as its own metadata says, and never believed beyond it."""

from __future__ import annotations

import sys
import tarfile
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from bite.cli import main
from bite.errors import InputError
from bite.files.camera import read_camera
from bite.files.depth import read_depth
from bite.files.frame import read_frame_file
from bite.files.heif import read_heif, take_apart
from tests.fetched_wheel import WheelMissingError, fetched_source

REAL = "pillow_heif-1.8.1/tests/images/heif_other/pug.heic"
PACKET = """<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description xmlns:m="urn:a-maker">
<m:FloatMinValue>2.0</m:FloatMinValue><m:FloatMaxValue>4.0</m:FloatMaxValue>
{accuracy}<m:IntrinsicMatrixReferenceWidth>80</m:IntrinsicMatrixReferenceWidth>
<m:IntrinsicMatrixReferenceHeight>60</m:IntrinsicMatrixReferenceHeight><m:IntrinsicMatrix><rdf:Seq>
<rdf:li>90</rdf:li><rdf:li>0</rdf:li><rdf:li>0</rdf:li><rdf:li>0</rdf:li><rdf:li>90</rdf:li><rdf:li>0</rdf:li>
<rdf:li>39.5</rdf:li><rdf:li>29.5</rdf:li><rdf:li>1</rdf:li></rdf:Seq></m:IntrinsicMatrix></rdf:Description>
</rdf:RDF></x:xmpmeta>"""


class Shown:
    """What pillow-heif hands on of one picture."""

    def __init__(self, pixels: np.ndarray, info: dict[str, Any]) -> None:
        self.pixels, self.info = pixels, info

    def to_pillow(self) -> Any:
        from PIL import Image

        return Image.fromarray(self.pixels)


def phone(
    monkeypatch: pytest.MonkeyPatch,
    folder: Path,
    metadata: dict[str, Any],
    *,
    accuracy: str = "",
    rows: int = 15,
) -> Path:
    """Let pillow-heif hand on a picture of 80 x 60 with a depth picture 20 wide, and write its file."""
    depth = np.repeat(np.linspace(0, 255, 20)[None], rows, axis=0).astype(np.uint8)
    picture = Shown(
        np.full((60, 80, 3), 120, np.uint8), {"depth_images": [Shown(depth, {"metadata": metadata})]}
    )
    opened = type("Opened", (), {"primary_index": 0, "__getitem__": lambda self, k: picture})()
    fake = SimpleNamespace(open_heif=lambda data, **_: opened)
    monkeypatch.setitem(sys.modules, "pillow_heif", fake)
    path = folder / "front.heic"
    said = f"<m:Accuracy>{accuracy}</m:Accuracy>" if accuracy else ""
    path.write_bytes(b"ftypheic" + PACKET.format(accuracy=said).encode())
    return path


DISPARITY = {"representation_type": 1, "d_min": 2.0, "d_max": 4.0}


def test_absolute_depth_goes_into_the_frame_with_its_camera(tmp_path, monkeypatch, capsys) -> None:
    path = phone(monkeypatch, tmp_path, DISPARITY, accuracy="absolute")
    assert main(["new", str(path), "--no-questions"]) == 1
    assert "one grey level is" in capsys.readouterr().err
    frame = tmp_path / "front.bite.toml"
    frame.write_text(frame.read_text(encoding="utf-8").replace("# FILL IN: ", ""), encoding="utf-8")
    entry = read_frame_file(frame).depth
    assert entry.inverse_per_m == (2.0, 4.0)
    depth = read_depth(entry.map, inverse_per_m=entry.inverse_per_m)
    assert depth.depth_mm[0, 0] == pytest.approx(500.0) and depth.depth_mm[0, -1] == pytest.approx(250.0)
    camera = read_camera(entry.camera)
    # a quarter of the width; pixel centres on whole numbers: 39.5 is the middle of 80, 9.5 that of 20
    assert (camera.width_px, camera.height_px) == (20, 15)
    assert camera.focal_px == pytest.approx(22.5) and camera.matrix[0, 2] == pytest.approx(9.5)
    assert cv2.imread(str(tmp_path / "front.png")).shape == (60, 80, 3)


@pytest.mark.parametrize("accuracy", ["relative", "", "fine"])
def test_depth_that_is_not_called_absolute_gives_no_offset(
    tmp_path, monkeypatch, capsys, accuracy: str
) -> None:
    path = phone(monkeypatch, tmp_path, DISPARITY, accuracy=accuracy)
    assert main(["new", str(path), "--no-questions"]) == 1
    told = capsys.readouterr().err
    assert ("calls its depth relative" in told) == (accuracy == "relative")
    frame = tmp_path / "front.bite.toml"
    frame.write_text(frame.read_text(encoding="utf-8").replace("# FILL IN: ", ""), encoding="utf-8")
    assert read_frame_file(frame).depth is None


@pytest.mark.parametrize(
    ("metadata", "kept"),
    [
        (DISPARITY, (2.0, 4.0)),
        ({"representation_type": 1, "d_min": -7.0, "d_max": 31.0}, None),  # pixels of another view
        ({"representation_type": 0, "z_near": 0.25, "z_far": 0.5}, (2.0, 4.0)),
        ({"representation_type": 3, "d_min": 2.0, "d_max": 4.0}, None),
        ({}, None),
    ],
)
def test_only_what_the_file_explains_is_taken(tmp_path, monkeypatch, metadata, kept) -> None:
    found = read_heif(phone(monkeypatch, tmp_path, metadata))
    assert (found.depth.inverse_per_m if found.depth else None) == kept
    assert kept or any("what its grey levels stand for" in note for note in found.notes)


def test_depth_of_another_shape_is_left_out(tmp_path, monkeypatch) -> None:
    found = read_heif(phone(monkeypatch, tmp_path, DISPARITY, rows=20))
    assert found.depth is None and any("another shape" in note for note in found.notes)


def test_nothing_is_written_over(tmp_path, monkeypatch) -> None:
    path = phone(monkeypatch, tmp_path, DISPARITY)
    (tmp_path / "front.depth.png").write_bytes(b"mine")
    with pytest.raises(InputError, match="is there already"):
        take_apart(path, read_heif(path), "front")
    assert {p.name for p in tmp_path.iterdir()} == {"front.heic", "front.depth.png"}


def test_without_the_package_one_line_says_what_to_install(tmp_path, monkeypatch, capsys) -> None:
    path = tmp_path / "front.heic"
    path.write_bytes(b"ftypheic")
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    assert main(["new", str(path)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "bite[heif]" in err


def test_bytes_that_are_no_heif_are_one_line(tmp_path, capsys) -> None:
    pytest.importorskip("pillow_heif", reason="an extra")
    path = tmp_path / "front.heic"
    path.write_bytes(b"\0\0\0\x18ftypheic" + bytes(range(256)) * 4)
    assert main(["new", str(path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.network
@pytest.mark.slow
def test_a_real_phone_picture(tmp_path: Path, capsys) -> None:
    """Made by a phone; its numbers were read apart from this program, from the packet's text."""
    pytest.importorskip("pillow_heif", reason="an extra")
    try:
        archive = fetched_source("pillow-heif==1.8.1")
    except WheelMissingError as error:
        pytest.skip(str(error))
    with tarfile.open(archive) as package:
        content = package.extractfile(REAL)
        assert content is not None
        (tmp_path / "pug.heic").write_bytes(content.read())
    assert main(["new", str(tmp_path / "pug.heic"), "--no-questions"]) == 1
    told = capsys.readouterr().err
    assert "4032 x 3024" in told and "768 x 576, 8 bit" in told and "calls its depth relative" in told
    camera = read_camera(tmp_path / "pug.camera.yaml")
    assert camera.focal_px == pytest.approx(3032.594, abs=0.01)
    assert camera.matrix[:2, 2] == pytest.approx([1988.451, 1512.307], abs=0.01)
    assert "inverse_per_m = [1.498047, 4.382812]" in (tmp_path / "pug.bite.toml").read_text(encoding="utf-8")
