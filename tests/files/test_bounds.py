"""What a header states is held against the other files before anything is set aside for it."""

from __future__ import annotations

import json
import struct
import zlib
from pathlib import Path

import pytest

from bite.files import mesh as mesh_module
from bite.files.bundle import load_frame
from bite.files.frame import check_file_name, read_frame_file
from bite.files.image import read_image
from bite.files.mesh import read_mesh
from bite.files.tables import read_toml
from tests.files.scene import quads


def png_that_states(width: int, height: int, *, colour: int, content: bytes = b"") -> bytes:
    """Give a PNG of 16 bits whose header states a size; its pixels are whatever ``content`` unpacks to."""
    chunks = b""
    head = struct.pack(">IIBBBBB", width, height, 16, colour, 0, 0, 0)
    for name, inside in ((b"IHDR", head), (b"IDAT", zlib.compress(content)), (b"IEND", b"")):
        checked = struct.pack(">I", zlib.crc32(name + inside))
        chunks += struct.pack(">I", len(inside)) + name + inside + checked
    return b"\x89PNG\r\n\x1a\n" + chunks


def test_a_picture_is_not_decoded_where_the_camera_has_another_size(frame: Path, refuses) -> None:
    (frame.parent / "front.png").write_bytes(png_that_states(14_000, 14_000, colour=2))
    assert "sizes differ: front.png 14000 x 14000, front.camera.yaml 80 x 64" in refuses(
        lambda: load_frame(frame)
    )


def test_a_depth_map_is_not_decoded_where_the_camera_has_another_size(frame: Path, refuses) -> None:
    (frame.parent / "front.depth.png").write_bytes(png_that_states(14_000, 14_000, colour=0))
    assert "depth map is 14000 x 14000" in refuses(lambda: load_frame(frame))


def test_decoders_print_no_lines_of_their_own(
    tmp_path: Path, refuses, capfd: pytest.CaptureFixture[str]
) -> None:
    # too few pixels: libpng prints an error of its own
    (tmp_path / "a.png").write_bytes(png_that_states(64, 64, colour=2, content=b"\0" * 100))
    refuses(lambda: read_image(tmp_path / "a.png"))
    assert capfd.readouterr() == ("", "")


def test_a_mesh_with_more_lines_than_any_has_is_not_parsed(
    tmp_path: Path, refuses, monkeypatch: pytest.MonkeyPatch
) -> None:
    def parse(path: Path, data: bytes) -> object:
        raise AssertionError("parsed all the same")

    monkeypatch.setattr(mesh_module, "read_obj", parse)
    monkeypatch.setattr(mesh_module, "MOST_FACES", 3)
    (tmp_path / "m.obj").write_text(quads())
    assert "needed at most" in refuses(lambda: read_mesh(tmp_path / "m.obj", unit_mm=1.0))


def test_a_solved_mesh_of_another_count_is_not_parsed(
    frame: Path, refuses, monkeypatch: pytest.MonkeyPatch
) -> None:
    parse = mesh_module.read_obj
    parsed: list[str] = []

    def noted(path: Path, data: bytes) -> object:
        parsed.append(path.name)
        return parse(path, data)

    monkeypatch.setattr(mesh_module, "read_obj", noted)
    solved = frame.parent / "solved.obj"
    solved.write_text(solved.read_text() + "v 0 0 0\n" * 100)
    assert "116 vertices, but the rest export rest.obj has 16" in refuses(lambda: load_frame(frame))
    assert parsed == ["rest.obj"]


def test_elements_without_bytes_behind_them_are_refused(tmp_path: Path, refuses) -> None:
    table = {
        "asset": {"version": "2.0"}, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [{"componentType": 5126, "count": 10**8, "type": "VEC3"},
                      {"componentType": 5125, "count": 10**8, "type": "SCALAR"}],
    }  # fmt: skip
    text = json.dumps(table).encode()
    text += b" " * (-len(text) % 4)
    header = struct.pack("<4sII", b"glTF", 2, 20 + len(text)) + struct.pack("<II", len(text), 0x4E4F534A)
    (tmp_path / "m.glb").write_bytes(header + text)
    assert "states 100000000 elements" in refuses(lambda: read_mesh(tmp_path / "m.glb", unit_mm=1.0))


@pytest.mark.parametrize("joint", [".", " . ", '."a".', ".\'a\'."])
def test_a_key_of_many_parts_is_refused_before_it_is_read(tmp_path: Path, refuses, joint: str) -> None:
    path = tmp_path / "a.toml"
    path.write_text(joint.join(["a"] * 40_000) + " = 1\n")
    assert "dotted parts" in refuses(lambda: read_toml(path))


def test_points_in_values_are_no_key(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text(f'a = "{"x." * 500}"\nb = {[[0.1, 0.2]] * 500}\n# {"so on " + "." * 300}\n')
    assert len(read_toml(path)["b"]) == 500


@pytest.mark.parametrize("name", ["con", "NUL", "com1", "aux.txt", "Lpt9 .a", "con.", "COM\u00b2"])
def test_names_of_devices_are_no_file_names(frame: Path, refuses, name: str) -> None:
    frame.write_text(frame.read_text("utf-8").replace('"tern-a07"', f'"{name}"'), "utf-8")
    assert "Windows" in refuses(lambda: read_frame_file(frame))


@pytest.mark.parametrize("name", ["console", "com", "com10", "aux-1", "nullo", "lpt"])
def test_names_like_those_of_devices_are(frame: Path, name: str) -> None:
    check_file_name(frame, "name", name)
