"""Faces by part: by names and by vertex range, the rest in none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bite.files.mesh import read_mesh
from bite.files.rig import PartNames, PartRange, read_rig
from bite.files.rig_parts import check_vertex_numbers, part_labels
from bite.geometry.teeth import LOWER, OTHER, SKIN, UPPER, Part


@pytest.fixture
def rig_and_rest(frame: Path):
    rig = read_rig(frame.parent / "rig" / "rig.toml")
    return rig, read_mesh(rig.rest, unit_mm=rig.unit_mm)


def test_labels_follow_names_and_ranges(rig_and_rest) -> None:
    rig, rest = rig_and_rest
    assert part_labels(rest, rig).tolist() == [SKIN, SKIN, UPPER, UPPER, LOWER, LOWER, OTHER, OTHER]


def test_faces_of_no_part_are_left_out(rig_and_rest) -> None:
    rig, rest = rig_and_rest
    few = replace(rig, parts={part: names for part, names in rig.parts.items() if part is not Part.OTHER})
    assert part_labels(rest, few).tolist()[-2:] == [-1, -1]


def test_several_names_make_one_part(rig_and_rest) -> None:
    rig, rest = rig_and_rest
    both = replace(rig, parts={Part.UPPER: PartNames(("teeth_up", "gums"))})
    assert part_labels(rest, both).tolist() == [-1, -1, UPPER, UPPER, -1, -1, UPPER, UPPER]


def test_a_face_across_the_end_of_a_range_is_outside(rig_and_rest) -> None:
    rig, rest = rig_and_rest
    cut = replace(
        rig, parts={Part.SKIN: PartRange(0, 6)}
    )  # 7 is a corner of the last triangle of the second square
    assert part_labels(rest, cut).tolist() == [SKIN, SKIN, SKIN, -1, -1, -1, -1, -1]


def test_a_mesh_without_names_asks_for_ranges(rig_and_rest, refuses) -> None:
    rig, rest = rig_and_rest
    nameless = replace(rest, groups={})
    assert "give a vertex range" in refuses(lambda: part_labels(nameless, rig))


def test_last_vertex_is_allowed_and_the_next_is_not(rig_and_rest, refuses) -> None:
    rig, rest = rig_and_rest
    check_vertex_numbers(rest, replace(rig, corners={"11d": 15}))
    assert "vertex 16" in refuses(lambda: check_vertex_numbers(rest, replace(rig, corners={"11d": 16})))
