import tomllib
from pathlib import Path

import pytest

from bite.files.frame_corners import name_corner_file

FRAME = """\
# mine
format = "bite-frame 1"   # keep
[[view]]
name = "front"
image = "front.png"  # a = b
camera = "front.yaml"

[[ view ]] # second
name = "side"
# corners = "side.corners.json"   # bite annotate takes the mark away
image = "side.png"
camera = "side.yaml"
[depth]
map = "x.png"
"""


@pytest.mark.parametrize("view", [0, 1])
def test_adds_one_key_and_keeps_every_other_line(tmp_path: Path, view: int) -> None:
    path = tmp_path / "a.bite.toml"
    path.write_text(FRAME)
    assert name_corner_file(path, view, "c.corners.json")
    before, after = tomllib.loads(FRAME), tomllib.loads(path.read_text())
    assert after["view"][view].pop("corners") == "c.corners.json"
    assert after == before
    kept = [line for line in FRAME.split("\n") if not line.startswith("# corners") or view == 0]
    assert [line for line in path.read_text().split("\n") if line in kept] == kept


@pytest.mark.parametrize(
    "text",
    [
        'view = [{name = "front", image = "a.png", camera = "a.yaml"}]\n',
        '[[view]]\nname = "front"\ncorners = "mine.json"\n',
        'note = """\n[[view]]\n"""\n[[view]]\nname = "front"\n',
        "not toml [",
    ],
)
def test_leaves_alone_what_it_is_not_sure_of(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.bite.toml"
    path.write_text(text)
    assert not name_corner_file(path, 0, "c.json")
    assert path.read_text() == text
