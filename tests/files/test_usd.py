"""USD stages as a studio holds them: prims, units, axes, times; and clear words where they cannot be read."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from bite.check.steps import check_frame
from bite.errors import InputError
from bite.files.bundle import load_frame
from bite.files.mesh import read_mesh

pxr = pytest.importorskip("pxr", reason="an extra")
pytestmark = pytest.mark.slow  # each stage is read by a process of its own
from pxr import Gf, Usd, UsdGeom, Vt  # noqa: E402  after the skip

CUBE = np.array([[0, 0, 0], [2, 0, 0], [2, 1, 0], [0, 1, 0], [0, 0, 3], [2, 0, 3]], float)
QUAD_AND_TRIANGLE = ([4, 3], [0, 1, 2, 3, 0, 1, 5])


def stage_at(path: Path, *, per_unit: float = 0.01, up: str = "Y") -> Usd.Stage:
    stage = Usd.Stage.CreateNew(str(path))
    UsdGeom.SetStageMetersPerUnit(stage, per_unit)
    UsdGeom.SetStageUpAxis(stage, up)
    return stage


def mesh_in(stage: Usd.Stage, path: str, points: np.ndarray = CUBE) -> UsdGeom.Mesh:
    mesh = UsdGeom.Mesh.Define(stage, path)
    mesh.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(points.astype(np.float32)))
    counts, indices = QUAD_AND_TRIANGLE
    mesh.CreateFaceVertexCountsAttr(counts)
    mesh.CreateFaceVertexIndicesAttr(indices)
    return mesh


@pytest.fixture(params=["usda", "usdc", "usd"])
def scene(request, tmp_path: Path) -> Path:
    """A head of two meshes, one moved by its parent, beside a prop that is none of the head."""
    path = tmp_path / f"scene.{request.param}"
    stage = stage_at(path)
    UsdGeom.Xform.Define(stage, "/world")
    head = UsdGeom.Xform.Define(stage, "/world/head")
    head.AddTranslateOp().Set(Gf.Vec3d(10, 0, 5))
    mesh_in(stage, "/world/head/face")
    mesh_in(stage, "/world/head/teeth_up", CUBE + 1)
    mesh_in(stage, "/world/prop")
    stage.GetRootLayer().Save()
    return path


def test_meshes_below_a_prim_come_in_order_in_mm_and_moved_by_their_parents(scene: Path) -> None:
    found = read_mesh(scene, unit_mm=10.0, prim="/world/head")
    moved = np.concatenate([CUBE, CUBE + 1]) + np.array([10, 0, 5])
    np.testing.assert_allclose(found.vertices_mm, 10 * moved, atol=1e-5)
    # the quad is cut into a fan of two, the triangle stays
    np.testing.assert_array_equal(found.faces[:3], [[0, 1, 2], [0, 2, 3], [0, 1, 5]])
    np.testing.assert_array_equal(found.faces[3:], found.faces[:3] + 6)
    assert found.groups["teeth_up"].tolist() == [3, 4, 5] == found.groups["/world/head/teeth_up"].tolist()
    assert found.groups["face"].tolist() == [0, 1, 2]


def test_a_stage_s_own_unit_is_held_against_the_stated_one(scene: Path) -> None:
    with pytest.raises(
        InputError, match=r"unit_mm: got 1, but the stage says metersPerUnit = 0.01; write unit_mm = 10"
    ):
        read_mesh(scene, unit_mm=1.0, prim="/world/head")


@pytest.mark.parametrize(
    ("prim", "told"),
    [
        ("/world/haed", "no prim /world/haed; did you mean '/world/head'"),
        ("head", "needed a path such as"),
        ("/world/empty", "holds no mesh, only Scope"),
    ],
)
def test_a_prim_that_will_not_do_is_told(tmp_path: Path, prim: str, told: str) -> None:
    path = tmp_path / "a.usda"
    stage = stage_at(path)
    mesh_in(stage, "/world/head")
    UsdGeom.Scope.Define(stage, "/world/empty")
    stage.GetRootLayer().Save()
    with pytest.raises(InputError, match=told):
        read_mesh(path, unit_mm=10.0, prim=prim)


def test_points_that_move_want_a_time_inside(tmp_path: Path) -> None:
    path = tmp_path / "a.usda"
    stage = stage_at(path)
    points = mesh_in(stage, "/head").GetPointsAttr()
    for time in (1001, 1003):
        points.Set(Vt.Vec3fArray.FromNumpy((CUBE + time - 1001).astype(np.float32)), time)
    stage.GetRootLayer().Save()
    with pytest.raises(
        InputError, match=r"time: /head moves: it has points at 2 times, 1001 to 1003; write time"
    ):
        read_mesh(path, unit_mm=10.0)
    with pytest.raises(InputError, match="time 7 lies outside 1001 to 1003"):
        read_mesh(path, unit_mm=10.0, time=7.0)
    np.testing.assert_allclose(
        read_mesh(path, unit_mm=10.0, time=1002.0).vertices_mm, 10 * (CUBE + 1), atol=1e-4
    )


def test_what_is_no_surface_of_its_own_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.usda"
    stage = stage_at(path)
    mesh_in(stage, "/head").CreateSubdivisionSchemeAttr("catmullClark")
    stage.GetRootLayer().Save()
    with pytest.raises(InputError, match="is subdivided"):
        read_mesh(path, unit_mm=10.0)
    other = tmp_path / "b.usda"
    stage = stage_at(other)
    mesh_in(stage, "/source/head")
    copy = stage.DefinePrim("/copy", "Xform")
    copy.GetReferences().AddInternalReference("/source")
    copy.SetInstanceable(True)
    stage.GetRootLayer().Save()
    with pytest.raises(InputError, match="is instanced"):
        read_mesh(other, unit_mm=10.0, prim="/copy")
    third = tmp_path / "c.usda"
    stage = stage_at(third)
    stage.GetRootLayer().subLayerPaths.append(str(path))
    stage.GetRootLayer().Save()
    # read from a copy that lies alone, so that nothing is brought in unseen
    with pytest.raises(InputError, match=r"brings in 1 other files|holds no mesh"):
        read_mesh(third, unit_mm=10.0)


def test_a_mirroring_transform_and_left_handed_faces_keep_their_outside(tmp_path: Path) -> None:
    path = tmp_path / "a.usda"
    stage = stage_at(path)
    mesh_in(stage, "/plain")
    mirrored = UsdGeom.Xform.Define(stage, "/mirrored")
    mirrored.AddScaleOp().Set(Gf.Vec3f(-1, 1, 1))
    mesh_in(stage, "/mirrored/head")
    mesh_in(stage, "/left").CreateOrientationAttr("leftHanded")
    stage.GetRootLayer().Save()

    def volume_sign(prim: str) -> float:
        found = read_mesh(path, unit_mm=10.0, prim=prim)
        a, b, c = (found.vertices_mm[found.faces[:1, k]] for k in range(3))
        return float(np.cross(b - a, c - a)[0, 2])

    assert volume_sign("/plain") > 0 and volume_sign("/mirrored") > 0 and volume_sign("/left") < 0


def test_z_up_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.usda"
    stage = stage_at(path, up="Z")
    mesh_in(stage, "/head")
    stage.GetRootLayer().Save()
    assert read_mesh(path, unit_mm=10.0).z_up


@pytest.mark.parametrize(
    "content", [b"#usda 1.0\ndef Mesh {", b"PXR-USDC" + bytes(200), b"nothing", bytes(range(256)) * 9]
)
@pytest.mark.parametrize("ending", ["usda", "usdc"])
def test_damaged_stages_are_one_line(tmp_path: Path, content: bytes, ending: str) -> None:
    path = tmp_path / f"a.{ending}"
    path.write_bytes(content)
    with pytest.raises(InputError):
        read_mesh(path, unit_mm=10.0)


def test_other_files_take_neither_prim_nor_time(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", encoding="utf-8")
    with pytest.raises(InputError, match="prim belongs to a USD stage"):
        read_mesh(path, unit_mm=1.0, prim="/head")


def test_without_the_package_one_line_says_what_to_install(scene: Path, monkeypatch) -> None:
    monkeypatch.setattr("bite.files.usd.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"pip install 'bite\[usd\]'"):
        read_mesh(scene, unit_mm=10.0)


def test_a_file_that_ends_its_reader_does_not_end_the_program(scene: Path, monkeypatch) -> None:
    monkeypatch.setattr("bite.files.usd.CHILD", ["-c", "import os; os.abort()"])
    with pytest.raises(InputError, match="its reader ended with -6"):
        read_mesh(scene, unit_mm=10.0, prim="/world/head")


def written_as_usd(obj: Path, path: Path, *, per_unit: float, up: str) -> None:
    """Write an OBJ's parts as meshes below /head, in the same order of vertices and faces."""
    lines = [line.split() for line in obj.read_text(encoding="utf-8").splitlines()]
    points = np.array([[float(x) for x in words[1:4]] for words in lines if words[:1] == ["v"]])
    stage = stage_at(path, per_unit=per_unit, up=up)
    part, parts, base = "", {}, 0
    for words in lines:
        if words[:1] in (["g"], ["o"]):
            part = words[1]
        elif words[:1] == ["f"]:
            parts.setdefault(part, []).append([int(word.partition("/")[0]) - 1 for word in words[1:]])
    for name, faces in parts.items():
        used = np.unique(np.concatenate(faces))
        assert used[0] == base and len(used) == used[-1] - base + 1  # parts follow each other in this file
        mesh = mesh_in(stage, f"/head/{name}", points[used])
        mesh.GetFaceVertexCountsAttr().Set([len(face) for face in faces])
        mesh.GetFaceVertexIndicesAttr().Set([int(k) - base for face in faces for k in face])
        base = int(used[-1]) + 1
    stage.GetRootLayer().Save()


def test_a_demo_frame_from_a_stage_gives_the_same_answer(tmp_path: Path) -> None:
    source = Path(__file__).parents[2] / "demo_bite"
    for name in ("tern", "bench-depth.device.toml"):
        copy = shutil.copytree if (source / name).is_dir() else shutil.copy
        copy(source / name, tmp_path / name)
    frame = tmp_path / "tern" / "tern-a07.bite.toml"
    before = check_frame(load_frame(frame)).fit
    for name in ("rest", "solved"):
        written_as_usd(frame.with_name(f"{name}.obj"), frame.with_name(f"{name}.usdc"), per_unit=0.01, up="Y")
    rig = frame.with_name("rig.toml")
    rig.write_text(rig.read_text().replace('"rest.obj"', '"rest.usdc"\nprim = "/head"'), encoding="utf-8")
    frame.write_text(
        frame.read_text().replace('"solved.obj"', '"solved.usdc"\nprim = "/head"'), encoding="utf-8"
    )
    after = check_frame(load_frame(frame)).fit
    assert before is not None and after is not None
    # points are float32 in a stage: 1e-6 of a metre's tenth
    assert after.offset.value == pytest.approx(before.offset.value, abs=2e-3)
    assert after.offset.sd == pytest.approx(before.offset.sd, rel=1e-2)
