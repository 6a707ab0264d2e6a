"""The guide: its commands are the program's, its answers what is printed, its pictures made by the script."""

from __future__ import annotations

import importlib.util
import re
import shlex
import shutil
from pathlib import Path
from types import ModuleType

import pytest
from PIL import Image

from bite.annotate.state.keys import BINDINGS
from bite.cli import COMMANDS, _with_values, main, make_parser
from bite.recheck.steps import Advice

ROOT = Path(__file__).resolve().parents[1]
GUIDE = ROOT / "docs" / "guide"
PAGES = (
    *sorted(GUIDE.glob("*.md")),
    *(ROOT / "docs" / name for name in ("commands.md", "files.md")),
    ROOT / "README.md",
    ROOT / "demo_bite" / "README.md",
)
MADE_BY_HAND = ("rig.toml", "plus.obj", "minus.obj", "half.obj", "grin", "grin.mp4", "first.corners.json")
MADE_BY_HAND += ("second.corners.json", "plover-b02.bite.toml", "plover-b02-after.bite.toml")
"""What stands for the reader's own file; everything else that a command reads is in the tree."""
WRITTEN = {"--out", "--plots", "--write", "--learn-device"}
RUN = ("check", "device", "new", "schema", "agree")
"""Run as they stand, once each; the others take a window, a take or many checks: tests of their rooms do."""


def _commands(page: Path) -> list[str]:
    text = page.read_text(encoding="utf-8")
    blocks = re.findall(r"^```sh\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)
    lines = [line for block in blocks for line in block.splitlines()]
    indented = re.findall(r"^    (bite .+)$", text, flags=re.MULTILINE)
    return [line for line in lines if line.startswith("bite ")] + indented


EVERY = [(page.relative_to(ROOT).as_posix(), command) for page in PAGES for command in _commands(page)]


def _files(command: str) -> list[str]:
    """Give the words of a command that name files it reads."""
    words = shlex.split(command)[2:]
    named = [word for before, word in zip(["", *words], words, strict=False) if before not in WRITTEN]
    return [word.partition("=")[2] or word for word in named if "/" in word or re.search(r"\.\w{3,5}$", word)]


def test_there_are_ten_steps_and_each_is_listed() -> None:
    pages = sorted(path.name for path in GUIDE.glob("[0-9]*.md"))
    listed = re.findall(r"^\| \d+ \| \[.+?\]\((.+?)\)", (GUIDE / "README.md").read_text(), flags=re.MULTILINE)
    assert len(pages) == 10 and listed == pages


@pytest.mark.parametrize(("page", "command"), EVERY)
def test_the_program_takes_each_command_and_its_files_exist(page: str, command: str) -> None:
    make_parser().parse_args(_with_values(shlex.split(command)[1:]))
    missing = [name for name in _files(command) if name not in MADE_BY_HAND and not (ROOT / name).exists()]
    assert missing == []


def test_every_command_is_shown_in_the_guide() -> None:
    shown = {shlex.split(command)[1] for page, command in EVERY if page.startswith("docs/guide")}
    assert shown == set(COMMANDS)


def test_keys_of_the_window_and_words_of_a_recheck_are_the_programs() -> None:
    keys = set(re.findall(r"`([A-Z?])`", (GUIDE / "05-click.md").read_text(encoding="utf-8")))
    assert len(keys) > 8 and keys <= {binding.shown for binding in BINDINGS}
    page = (GUIDE / "07-dial.md").read_text(encoding="utf-8")
    words = re.findall(r"^\| `([A-Z ]+)` \|", page, flags=re.MULTILINE)
    assert sorted(words) == sorted(advice.value.upper() for advice in Advice)


@pytest.fixture
def stage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a folder with the demo's files that the guide's commands read, and go there."""
    for name in ("plover", "tern", "cards"):
        shutil.copytree(ROOT / "demo_bite" / name, tmp_path / "demo_bite" / name)
    shutil.copy(ROOT / "demo_bite" / "bench-depth.device.toml", tmp_path / "demo_bite")
    clicked = tmp_path / "demo_bite" / "plover" / "front.corners.json"
    for name in ("first", "second"):
        shutil.copy(clicked, tmp_path / f"{name}.corners.json")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.slow
def test_commands_run_as_they_stand_and_answer_as_they_are_told(
    stage: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    done: set[str] = set()
    for page, command in EVERY:
        words = shlex.split(command)[1:]
        wanted = words[0] in RUN and page.startswith("docs/guide") and words[0] not in done
        if not wanted or not all((stage / name).exists() for name in _files(command)):
            continue
        done.add(words[0])
        code = main(words)
        out = capfdbinary.readouterr().out.decode()
        # bite new leaves a frame to be filled in
        assert code == (1 if words[0] == "new" else 0), command
        if words[0] == "check":
            _compare(out)
    assert done == set(RUN)


def _compare(printed: str) -> None:
    """Hold the answers in guide and README to one just printed: words alike, numbers but for a last digit."""
    guide, readme = (_answer(page) for page in (GUIDE / "06-check.md", ROOT / "README.md"))
    assert _numbers(readme) == pytest.approx(_numbers(printed.splitlines()[0]), abs=0.015)
    shown, now = (re.sub(r"[-+]?\d+(\.\d+)?", "N", text).split() for text in (guide, printed))
    assert shown == now
    # shares are whole per cents; how many checks there are may grow
    guide, printed = (re.sub(r"\d+ checks ok", "", text) for text in (guide, printed))
    assert _numbers(guide) == pytest.approx(_numbers(printed), abs=1.5)


def _answer(page: Path) -> str:
    text = page.read_text(encoding="utf-8")
    found = re.search(r"^```text\n(plover-b02: .*?)^```", text, flags=re.DOTALL | re.MULTILINE)
    assert found is not None
    return found[1]


def _numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?![\w])", text)]


def _maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_guide", ROOT / "docs" / "make_guide.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_picture_is_made_by_the_script_shown_and_small() -> None:
    pictures = sorted(GUIDE.glob("*.png"))
    assert {path.stem for path in pictures} == set(_maker().PICTURES)
    text = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    assert [path.name for path in pictures if f"{path.name})" not in text] == []
    assert sum(path.stat().st_size for path in pictures) < 1_600_000
    for path in pictures:
        with Image.open(path) as picture:
            assert 600 <= picture.width <= 1200 and picture.mode == "P"
