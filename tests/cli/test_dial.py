"""`bite dial` on a copy of a demo rig: values with a minus, files, --write, refusals."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from bite.files.mesh import read_mesh
from bite.files.rig import read_rig
from bite.files.rig_parts import part_labels
from tests.cli.runs import CopyDemo, Run, names_in, refusal


@pytest.fixture
def folder(copy_demo: CopyDemo) -> Path:
    """Give plover's folder with exports at -1, 0.5 and 1: 3 mm a unit rising, 3.3 falling."""
    folder = copy_demo("plover", "plover-b02").parent
    rig = read_rig(folder / "rig.toml")
    rest = read_mesh(rig.rest, unit_mm=10.0)
    teeth = sorted(set(rest.faces[part_labels(rest, rig) > 0].ravel().tolist()))
    lines = rig.rest.read_text(encoding="utf-8").splitlines()
    first = next(k for k, line in enumerate(lines) if line.startswith("v "))
    for name, mm in (("plus", -3.0), ("half", -1.5), ("minus", 3.3)):
        out = list(lines)
        for number in teeth:
            out[first + number] = "v {:.4f} {:.4f} {:.4f}".format(
                *(rest.vertices_mm[number] + mm * rig.forward) / 10
            )
        (folder / f"{name}.obj").write_text("\n".join(out), encoding="utf-8")
    return folder


@pytest.mark.slow
def test_it_measures_and_writes(run: Run, folder: Path) -> None:
    before = (folder / "rig.toml").read_bytes()
    arguments = ("dial", folder / "rig.toml", f"1={folder / 'plus.obj'}", f"-1.0={folder / 'minus.obj'}")
    ran = run(*arguments, f"0.5={folder / 'half.obj'}")
    assert ran.code == 0 and "travel = [[-1.0, 3.3" in ran.out
    assert (folder / "rig.toml").read_bytes() == before
    told = json.loads((folder / "rig.dial.json").read_text(encoding="utf-8"))
    # 1 %, and exports are rounded to 0.001 mm
    assert told["plus_mm_per_unit"] == pytest.approx(3.0, rel=0.01)
    assert told["minus_mm_per_unit"] == pytest.approx(3.3, rel=0.01)
    assert (folder / "rig.dial.png").read_bytes().startswith(b"\x89PNG")
    ran = run(*arguments, "--write", "--json")
    assert json.loads(ran.out)["written"]
    after = tomllib.loads((folder / "rig.toml").read_text(encoding="utf-8"))
    assert after["dial"]["travel"][0] == pytest.approx([-1.0, 3.3], abs=2e-3)
    assert {**tomllib.loads(before.decode()), "dial": 0} == {**after, "dial": 0}
    assert read_rig(folder / "rig.toml").dial.travel is not None


def test_refusals_leave_nothing(run: Run, folder: Path) -> None:
    had = names_in(folder)
    line = refusal(run("dial", folder / "rig.toml", f"-1={folder / 'plus.obj'}", "--write"))
    assert "SIGN" in line and names_in(folder) == had
    assert "VALUE=EXPORT" in refusal(run("dial", folder / "rig.toml", "plus.obj"))
    assert "VALUE=EXPORT" in refusal(run("dial", folder / "rig.toml", "nan=plus.obj"))
    assert "no such file" in refusal(run("dial", folder / "rig.toml", "-.5=none.obj"))


def test_a_file_in_the_way_of_out_is_told(run: Run, folder: Path) -> None:
    before = names_in(folder)
    out = folder / "rest.obj"
    ran = run("dial", folder / "rig.toml", f"1={folder / 'plus.obj'}", "--write", "--out", out)
    assert refusal(ran).startswith(f"{out}: cannot be made a folder (")
    assert names_in(folder) == before
