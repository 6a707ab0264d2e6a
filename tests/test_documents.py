"""The documents keep to what is in the tree: commands, examples, messages, paths, the rooms."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

from bite.cli import COMMANDS
from bite.files.cast import read_cast
from bite.files.corners import read_corners
from bite.files.device import read_device_file
from bite.files.frame import ProfileEntry, read_frame_file
from bite.files.profile import COLUMNS, REGIONS, read_profile
from bite.files.rig import read_rig
from bite.geometry.teeth import CORNERS, LANDMARKS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FILES = (ROOT / "docs" / "files.md").read_text(encoding="utf-8")
TROUBLE = (ROOT / "docs" / "troubleshooting.md").read_text(encoding="utf-8")
PAGES = (
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    *sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "docs").rglob("*.md")),
)
MAPS = ("DEVELOPERS.md", "docs/measured.md", "docs/decisions.md")


def _blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", FILES, flags=re.DOTALL | re.MULTILINE)


def _marked(name: str) -> str:
    found = re.search(rf"^<!-- {name} -->\n```sh\n(.*?)^```", README, flags=re.DOTALL | re.MULTILINE)
    assert found is not None
    return found[1]


def test_the_two_commands_are_there_and_name_files_that_exist() -> None:
    demo, tests = _marked("demo"), _marked("tests")
    named = re.findall(r"\S+\.bite\.toml", demo)
    assert named and all((ROOT / name).is_file() for name in named)
    assert demo.count("\n") == tests.count("\n") == 1 and tests.split()[0].endswith("pytest")


def test_every_command_is_listed_and_no_other() -> None:
    assert re.findall(r"^\| `bite (\w+)", README, flags=re.MULTILINE) == list(COMMANDS)


def test_the_example_files_read(tmp_path: Path) -> None:
    frame, rig, device, cast, without_mesh = _blocks("toml")
    (corners,) = _blocks("json")
    (profile,) = _blocks("csv")
    for name, text in (
        ("stint-a01.bite.toml", frame),
        ("rig.toml", rig),
        ("bench-depth.device.toml", device),
        ("cast.toml", cast),
        ("stint-a02.bite.toml", without_mesh),
        ("front.corners.json", corners),
        ("midline.csv", profile),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
    read = read_frame_file(tmp_path / "stint-a01.bite.toml")
    assert read.name == "stint-a01" and read.device_file == tmp_path / "bench-depth.device.toml"
    known = read_device_file(read.device_file, read.device)
    assert (known.enamel_bias_mm, known.noise_mm, known.correlation_px) == (0.15, 0.4, 1.5)
    whole = read_rig(tmp_path / "rig.toml")
    assert whole.dial.positive_is_back and (whole.dial.limit, whole.dial.step) == (1.0, 0.01)
    assert set(whole.corners) == set(CORNERS) and set(whole.landmarks) == set(LANDMARKS)
    assert set(read_corners(tmp_path / "front.corners.json").points) == set(json.loads(corners)["points"])
    assert set(read_cast(tmp_path / "cast.toml").devices) == {"bench-depth"}
    bare = read_frame_file(tmp_path / "stint-a02.bite.toml")
    assert isinstance(bare.depth, ProfileEntry) and bare.solved is not None
    assert set(bare.solved.corners_mm or ()) == {"11d", "21d"} and bare.solved.mesh is None
    assert set(read_profile(tmp_path / "midline.csv").region or ()) == set(REGIONS)


def test_every_column_of_a_profile_is_explained() -> None:
    table = FILES.partition("\n## A depth profile")[2].partition("\n## ")[0]
    assert re.findall(r"^\| `(\w+)` \|", table, flags=re.MULTILINE) == list(COLUMNS)


def test_every_message_it_explains_is_one_of_the_programs() -> None:
    source = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "bite").rglob("*.py"))
    messages = re.findall(r"^\| `(.+?)` \|", TROUBLE, flags=re.MULTILINE)
    assert len(messages) > 20
    assert [message for message in messages if message not in source] == []


def _anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading).strip().lower().replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)]+)\)", text) if "://" not in link]
    dead = []
    for link in links:
        path, _, anchor = link.partition("#")
        target = (ROOT / page).parent / path if path else ROOT / page
        if not target.exists() or (anchor and anchor not in _anchors(target)):
            dead.append(link)
    assert dead == []


@pytest.mark.parametrize("page", MAPS)
def test_paths_in_the_map_exist(page: str) -> None:
    """Whole paths stand as they are; in the documents `fit/noise.py` is short for `bite/fit/noise.py`."""
    text = (ROOT / page).read_text(encoding="utf-8")
    named = re.findall(r"`((?:\.?\w+/)+[\w.]*)`", text)
    assert named
    assert [path for path in named if not any((top / path).exists() for top in (ROOT, ROOT / "bite"))] == []


@pytest.mark.parametrize("page", MAPS)
def test_studies_that_are_named_can_be_run(page: str) -> None:
    named = re.findall(r"python -m\s+([\w.]+)", (ROOT / page).read_text(encoding="utf-8"))
    assert named
    places = {module: ROOT / module.replace(".", "/") for module in named}
    runs = [at.with_suffix(".py").is_file() or (at / "__main__.py").is_file() for at in places.values()]
    assert [module for module, there in zip(places, runs, strict=True) if not there] == []


def test_the_picture_of_the_rooms_is_the_contract() -> None:
    contract = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = contract["tool"]["importlinter"]["contracts"][0]["layers"]
    drawn = re.search(r"^## The picture.*?^```text\n(.*?)^```", DEVELOPERS, flags=re.DOTALL | re.MULTILINE)
    assert drawn is not None
    rooms = [re.split(r" {3,}", line)[0].split() for line in drawn[1].splitlines()]
    assert rooms == [[room.strip().removeprefix("bite.") for room in layer.split(":")] for layer in layers]
    packages = {path.parent.name for path in (ROOT / "bite").glob("*/__init__.py")}
    modules = {path.stem for path in (ROOT / "bite").glob("[!_]*.py")}
    assert {room for line in rooms for room in line} == packages | modules


def test_each_decision_has_its_day() -> None:
    text = (ROOT / "docs/decisions.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## (.+)$", text, flags=re.MULTILINE)
    dated = [heading[:10] for heading in headings if re.match(r"\d{4}-\d\d-\d\d: \S", heading)]
    assert len(dated) == len(headings) - 1, "all but the table of dependencies"
    assert dated == sorted(dated)


def test_the_picture_is_small_enough_to_carry() -> None:
    assert (ROOT / "docs" / "before-after.png").stat().st_size < 400_000
