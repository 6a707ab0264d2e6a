"""The same solved mesh with its faces in another order, cut otherwise, or not whole: one answer, or none."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from bite.check.steps import check_frame
from bite.files.bundle import load_frame
from tests.cli.runs import CopyDemo, Run, refusal

Lines = list[str]
TEETH_LAST = ["g face", "g tongue", "g gums", "g teeth_low", "g teeth_up"]


def _changed(frame: Path, change: Callable[[Lines, Lines], Lines]) -> None:
    """Rewrite solved.obj from its lines before the first face and those from there on."""
    path = frame.parent / "solved.obj"
    lines = path.read_text("utf-8").splitlines()
    start = next(k for k, line in enumerate(lines) if line.startswith("g "))
    changed = [*lines[:start], *change(lines[start:], lines[:start])]
    path.write_text("\n".join(changed) + "\n", encoding="utf-8")


def _blocks(faces: Lines) -> dict[str, Lines]:
    found: dict[str, Lines] = {}
    for line in faces:
        if line.startswith("g "):
            found[line] = []
        else:
            found[list(found)[-1]].append(line)
    return found


def _groups_in_another_order(faces: Lines, _: Lines) -> Lines:
    blocks = _blocks(faces)
    assert set(TEETH_LAST) == set(blocks) and list(blocks) != TEETH_LAST
    return [line for name in TEETH_LAST for line in (name, *blocks[name])]


def _shuffled_without_names(faces: Lines, _: Lines) -> Lines:
    kept = [line for line in faces if line.startswith("f ")]
    random.Random(3).shuffle(kept)
    return kept[1:]


def _cut_otherwise(faces: Lines, _: Lines) -> Lines:
    """Cut the demo's quads, whose halves share the edge from i to the third, along the other one."""
    out: Lines = []
    for name, block in _blocks(faces).items():
        triangles = [tuple(line.split()[1:]) for line in block]
        beyond = {(t[n], t[n - 2]): (k, t[n - 1]) for k, t in enumerate(triangles) for n in range(3)}
        done: set[int] = set()
        out.append(name)
        for k, (i, j, corner) in enumerate(triangles):
            other, far = beyond.get((i, corner), (k, ""))
            if other != k and not {k, other} & done:
                done |= {k, other}
                out += [f"f {i} {j} {far}", f"f {j} {corner} {far}"]
        out += [f"f {' '.join(t)}" for k, t in enumerate(triangles) if k not in done]
    return out


@pytest.mark.slow
def test_faces_in_another_order_give_the_same_answer(copy_demo: CopyDemo) -> None:
    frame = copy_demo("tern", "tern-a07")
    plain = check_frame(load_frame(frame))
    assert plain.fit is not None and plain.decision.verdict == "leave"
    before = (frame.parent / "solved.obj").read_text("utf-8")
    # the last one has no names left, and stands for a partial export too: one face is missing
    changes = (_groups_in_another_order, 0.005), (_cut_otherwise, 0.03), (_shuffled_without_names, 0.03)
    for change, within_mm in changes:
        _changed(frame, change)
        after = (frame.parent / "solved.obj").read_text("utf-8")
        assert after != before
        before = after
        found = check_frame(load_frame(frame))
        assert found.fit is not None and found.decision.verdict == "leave"
        assert abs(found.fit.offset.value - plain.fit.offset.value) < within_mm, change.__name__


def _without_upper_teeth(faces: Lines, _: Lines) -> Lines:
    blocks = _blocks(faces)
    blocks["g teeth_up"] = blocks["g teeth_up"][::2]
    return [line for name, block in blocks.items() for line in (name, *block)]


def _of_another_mesh(faces: Lines, head: Lines) -> Lines:
    count = sum(line.startswith("v ") for line in head)
    numbers = [[count + 1 - int(n) for n in line.split()[1:]] for line in faces if line.startswith("f ")]
    return [f"f {a} {b} {c}" for a, b, c in numbers]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "says"),
    [(_without_upper_teeth, "part upper: has 50"), (_of_another_mesh, "which no part of the rest export")],
)
def test_faces_that_cannot_be_matched_are_refused(
    copy_demo: CopyDemo, run: Run, tmp_path: Path, change: Callable[[Lines, Lines], Lines], says: str
) -> None:
    frame = copy_demo("tern", "tern-a07")
    _changed(frame, change)
    line = refusal(run("check", frame, "--out", tmp_path / "out"))
    assert line.startswith(f"{frame.parent / 'solved.obj'}: ") and says in line
