"""The committed demo: made again it has the same bytes, it reads, and it says what was planted."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from bite.cast.runner.listing import list_frames
from bite.files.bundle import load_frame
from bite.files.cast import read_cast
from bite.files.device import devices_from_tables
from bite.files.rig import read_rig
from bite.geometry.teeth import CORNERS
from demo_bite.make_demo import CAST, DEVICE, make
from demo_bite.roles import ROLES
from demo_bite.scene.settings import Detail

DEMO = Path(__file__).resolve().parents[2] / "demo_bite"
NAMES = sorted(export.name for role in ROLES for export in role.exports)


def small(role):
    """Give the same role at a size that a test can afford."""
    picture = replace(role.settings.picture, width_px=150, height_px=200, focal_px=246.0)
    sensor = replace(role.settings.sensor, width_px=160, height_px=120, focal_px=150.0)
    settings = replace(role.settings, picture=picture, sensor=sensor, scene_detail=Detail.COARSE)
    return replace(role, settings=settings)


def files(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.slow
def test_made_twice_the_files_are_the_same(tmp_path):
    roles = tuple(small(role) for role in ROLES if role.exports[0].name in ("tern-a07", "turnstone-d04"))
    first = make(tmp_path / "one", roles)
    assert make(tmp_path / "two", roles) == first
    one = files(tmp_path / "one")
    assert len(one) > 12
    assert one == files(tmp_path / "two")


@pytest.mark.slow
def test_another_seed_gives_other_files(tmp_path):
    role = small(ROLES[0])
    make(tmp_path / "one", (role,))
    make(tmp_path / "two", (replace(role, seed=role.seed + 1000),))
    one, two = files(tmp_path / "one"), files(tmp_path / "two")
    assert one["tern/solved.obj"] != two["tern/solved.obj"]


@pytest.mark.slow
def test_a_further_bite_has_the_same_teeth_and_rig_and_readings_of_its_own(tmp_path):
    first, again = (small(r) for r in ROLES if r.exports[0].name in ("curlew-a11", "curlew-a12"))
    assert again.person == first.seed
    for name, role in (("one", first), ("two", replace(again, exports=(first.exports[0],)))):
        make(tmp_path / name, (role,))
    one, two = files(tmp_path / "one"), files(tmp_path / "two")
    same = {name for name in one if one[name] == two[name]}
    assert {"curlew/rest.obj", "curlew/rig.toml"} <= same
    assert not {"curlew/solved.obj", "curlew/front.jpg", "curlew/front.depth.png"} & same
    # written as what it is, it leaves the first bite's files and the rig alone
    make(tmp_path / "one", (again,))
    both = files(tmp_path / "one")
    assert {name: both[name] for name in one} == one
    added = {name.removeprefix("curlew/") for name in both.keys() - one.keys()} - {"curlew-a12.bite.toml"}
    assert added and all(name.startswith("a12.") for name in added)


def test_the_cast_finds_every_frame_and_only_those():
    cast = read_cast(DEMO / "cast.toml")
    listed = list_frames(cast, one_folder=True)
    assert sorted(path.name.removesuffix(".bite.toml") for path, _ in listed.frames) == NAMES
    assert (DEMO / "cast.toml").read_text(encoding="utf-8") == CAST
    assert devices_from_tables(tomllib.loads(DEVICE)["device"], "x").keys() == cast.devices.keys()


@pytest.mark.parametrize("name", NAMES)
def test_committed_frames_read_and_agree_with_the_truth_file(name):
    planted = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["frame"][name]
    path = next(DEMO.glob(f"*/{name}.bite.toml"))
    frame = load_frame(path)
    assert frame.name == name
    assert frame.file.performer == path.parent.name
    corners = frame.views[0].corners.points
    assert {code: corners[code].state.value for code in CORNERS} == planted["states"]
    assert frame.device.enamel_bias_mm == (None if frame.device.name == "head-pair" else 0.15)
    role, export = next((r, e) for r in ROLES for e in r.exports if e.name == name)
    if frame.file.solved is None:
        assert "t_mm" not in planted
    else:
        assert planted["t_mm"] == pytest.approx(role.settings.t_mm - export.moved_mm, abs=1e-6)
    if frame.solved_mesh is not None:
        assert set(frame.solved_mesh.groups) >= {"face", "teeth_up", "teeth_low", "gums", "tongue"}


def test_the_demo_stays_small():
    total = sum(p.stat().st_size for p in DEMO.rglob("*") if p.is_file() and "__pycache__" not in p.parts)
    assert total < 20e6


def test_rigs_differ_as_rigs_do():
    dials = {path.parent.name: read_rig(path).dial for path in sorted(DEMO.glob("*/rig.toml"))}
    assert {dial.positive_is_back for dial in dials.values()} == {True, False}
    assert len({dial.mm_per_unit for dial in dials.values()}) >= 6
    assert len({dial.limit for dial in dials.values()}) >= 5
    assert len({dial.step for dial in dials.values()}) >= 5
    assert [name for name, dial in dials.items() if dial.travel is not None] == ["avocet"]
    written = {e.performer: e.dial for role in ROLES for e in role.exports}
    for name, dial in dials.items():
        kept, wanted = (
            replace(d, travel=None if d.travel is None else d.travel.tolist()) for d in (dial, written[name])
        )
        assert kept == wanted
