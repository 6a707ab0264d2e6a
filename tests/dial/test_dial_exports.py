"""Planted dials are found again, and exports that differ in more than their teeth are refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bite.dial.exports import follow_rows
from bite.dial.travel import dial_travel_of
from bite.errors import InputError
from bite.files.rig import Dial, Part, PartNames, Rig
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen, rotation_from_vector

DIAL = Dial(True, 3.2, None, None, 1.0, 0.01)


def scene() -> tuple[Rig, Mesh]:
    """Three patches of random points in one fan each: skin, upper and lower arches, in mm."""
    rng = np.random.default_rng(5)
    arch = np.linspace(-1.2, 1.2, 40)
    rows = [
        np.column_stack([25 * np.sin(arch), height + rng.normal(0, 2, 40), 25 * np.cos(arch)])
        for height in (3, -3)
    ]
    points = np.concatenate([rng.normal(0, 30, (50, 3)), *rows])
    fans = {"face": (0, 50), "up": (50, 90), "low": (90, 130)}
    faces, groups = [], {}
    for name, (first, end) in fans.items():
        own = [[first, k, k + 1] for k in range(first + 1, end - 1)]
        groups[name] = np.arange(len(faces), len(faces) + len(own))
        faces += own
    pitch = rotation_from_vector(np.array([0.3, 0.0, 0.0]))
    rig = Rig(
        Path("rig.toml"), Path("rest.obj"), 1.0, frozen(pitch[:, 2]), frozen(pitch[:, 1]),
        {Part.SKIN: PartNames(("face",)), Part.UPPER: PartNames(("up",)), Part.LOWER: PartNames(("low",))},
        {"11d": 68, "21d": 71, "41d": 108, "31d": 111}, {}, DIAL,
    )  # fmt: skip
    return rig, Mesh(frozen(points), np.array(faces, np.int32), groups)


def moved(mesh: Mesh, motion: np.ndarray, rows: slice = slice(50, 130)) -> Mesh:
    points = mesh.vertices_mm.copy()
    points[rows] += motion
    return replace(mesh, vertices_mm=frozen(points.round(4)))


def measure(rig: Rig, rest: Mesh, exports: dict[float, Mesh]):
    given = [(value, Path(f"{value:g}.obj"), mesh) for value, mesh in exports.items()]
    return dial_travel_of(rig, follow_rows(rig, rest, given))


@pytest.mark.parametrize("off_deg", [0.0, 1.0, 4.0])
@pytest.mark.parametrize("size", [0.05, 1.0])
def test_direction_and_travel_are_found(off_deg: float, size: float) -> None:
    rig, rest = scene()
    angle = np.deg2rad(off_deg)
    way = np.cos(angle) * rig.forward + np.sin(angle) * rig.up
    found = measure(rig, rest, {size: moved(rest, -3.2 * size * way), -size: moved(rest, 3.2 * size * way)})
    # rounding to 0.0001 mm turns a travel of 0.16 mm by 0.02 degrees at most
    assert found.off_forward_deg == pytest.approx(off_deg, abs=0.05)
    assert found.mm_per_unit == pytest.approx(3.2 * np.cos(angle), rel=1e-3)
    assert found.straight and found.symmetric and found.one_number
    warned = [f.code for f in found.findings if f.severity == "warn"]
    assert warned == (["dial-direction"] if off_deg > 3 else [])


def test_unlike_sides_and_a_curve_become_a_table() -> None:
    rig, rest = scene()
    unlike = measure(rig, rest, {1.0: moved(rest, -3.0 * rig.forward), -1.0: moved(rest, 3.6 * rig.forward)})
    assert unlike.plus_mm_per_unit == pytest.approx(3.0, rel=1e-3)
    assert unlike.minus_mm_per_unit == pytest.approx(3.6, rel=1e-3)
    assert not unlike.symmetric and not unlike.one_number
    assert unlike.travel == pytest.approx(np.array([[-1, 3.6], [0, 0], [1, -3.0]]), abs=1e-3)
    bend = {v: moved(rest, -(3.0 * v + 0.4 * v * abs(v)) * rig.forward) for v in (-1.0, -0.5, 0.5, 1.0)}
    curved = measure(rig, rest, bend)
    assert curved.symmetric and curved.straight is False and not curved.one_number
    assert curved.off_line_mm == pytest.approx(0.08, abs=0.02)


def test_one_export_cannot_tell_straightness() -> None:
    rig, rest = scene()
    found = measure(rig, rest, {1.0: moved(rest, -3.0 * rig.forward)})
    assert found.straight is None and found.symmetric is None and not found.one_number
    assert found.minus_mm_per_unit is None and found.mm_per_unit_sd is None


def test_a_zero_export_stands_in_for_rest() -> None:
    rig, rest = scene()
    zero = moved(rest, 0.7 * rig.forward)
    found = measure(rig, rest, {0.0: zero, 1.0: moved(rest, -2.3 * rig.forward)})
    assert found.travel == pytest.approx(np.array([[0, 0], [1, -3.0]]), abs=1e-3)


def test_a_turn_a_change_of_size_and_rows_apart_are_told() -> None:
    rig, rest = scene()
    turn = rotation_from_vector(np.array([0.0, np.deg2rad(1.0), 0.0]))
    points = rest.vertices_mm.copy()
    points[50:] = 1.004 * points[50:] @ turn.T - 3.0 * rig.forward
    found = measure(rig, rest, {1.0: replace(rest, vertices_mm=frozen(points))})
    row = found.stations[0].upper
    assert row.turn_deg == pytest.approx(1.0, abs=1e-6) and row.scale == pytest.approx(1.004, abs=1e-9)
    codes = {f.code for f in found.findings if f.severity == "warn"}
    assert {"dial-turn", "dial-scale", "dial-sides"} <= codes
    apart = moved(moved(rest, -3.0 * rig.forward), 0.3 * rig.forward, slice(90, 130))
    assert not measure(rig, rest, {1.0: apart}).may_be_written


def test_wrong_exports_are_refused() -> None:
    rig, rest = scene()
    good = moved(rest, -3.0 * rig.forward)
    fewer = replace(good, vertices_mm=frozen(good.vertices_mm[:-1]))
    rng = np.random.default_rng(2)
    cases = {
        "129 vertices": {1.0: fewer},
        "its skin differs": {1.0: moved(good, np.array([0.0, 0.09, 0.0]), slice(0, 50))},
        "is bent": {1.0: moved(good, rng.normal(0, 0.06, (40, 3)), slice(50, 90))},
        "times its size": {
            1.0: replace(good, vertices_mm=frozen(np.r_[good.vertices_mm[:50], good.vertices_mm[50:] * 1.05]))
        },
        "SIGN": {1.0: moved(rest, 3.0 * rig.forward)},
        "the same way": {1.0: good, -1.0: good},
        "turn round": {0.5: moved(rest, -3.5 * rig.forward), 1.0: good},
        "moved nothing": {1.0: rest},
        "along forward": {1.0: moved(rest, -3.0 * rig.up - 0.5 * rig.forward)},
        "beyond the rig's limit": {1.5: good},
        "no export at": {0.0: good},
    }  # fmt: skip
    for told, exports in cases.items():
        with pytest.raises(InputError, match=told):
            measure(rig, rest, exports)
