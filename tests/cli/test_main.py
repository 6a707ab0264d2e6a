"""Help is quick, every command is listed, and each kind of trouble has its own end."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import bite
import bite.cli
from bite.cli import COMMANDS, check, main
from bite.errors import InputError, NotConvergedError
from tests.cli.runs import DEMO, Run, refusal

HEAVY = ("numpy", "scipy", "cv2", "matplotlib", "trimesh", "pydantic", "tkinter", "jinja2")
_COMMAND_PARTS = ("def add_parser(", "def run(")
FRAME = DEMO / "whimbrel" / "whimbrel-a02.bite.toml"


def _seconds_of_children() -> float:
    # time on the processor: a busy machine must not fail the test
    spent = os.times()
    return spent.children_user + spent.children_system


@pytest.mark.slow
def test_help_is_quick_and_loads_nothing_heavy() -> None:
    seconds = []
    for _ in range(5):
        start = _seconds_of_children()
        done = subprocess.run([sys.executable, "-m", "bite", "--help"], capture_output=True, check=True)
        seconds.append(_seconds_of_children() - start)
    assert all(f"    {name} " in done.stdout.decode() for name in COMMANDS)
    assert min(seconds) < 0.3
    code = f"import sys, bite.cli; bite.cli.make_parser(); sys.exit(any(m in sys.modules for m in {HEAVY}))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_every_command_module_is_registered() -> None:
    folder = Path(bite.cli.__file__).parent
    modules = {p.stem for p in folder.glob("*.py") if all(s in p.read_text("utf-8") for s in _COMMAND_PARTS)}
    assert modules == set(COMMANDS)
    assert len(COMMANDS) == len(set(COMMANDS))


def test_version(run: Run) -> None:
    ran = run("--version")
    assert (ran.code, ran.out, ran.err) == (0, f"bite {bite.__version__}\n", "")


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help(run: Run, name: str) -> None:
    ran = run(name, "--help")
    assert ran.code == 0 and ran.out.startswith(f"usage: bite {name} ") and ran.err == ""


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "COMMAND"),
        (("chek",), "'chek'"),
        (("check",), "FRAME"),
        (("check", FRAME, "--qui"), "--qui"),
        (("check", FRAME, "--json", "--quiet"), "not allowed with"),
        (("check", FRAME, "--tolerance-mm", "half"), "'half'"),
        (("check", FRAME, "--tolerance-mm", "nan"), "above 0 mm"),
        (("check", FRAME, "--tolerance-mm=-1"), "above 0 mm"),
    ],
)
def test_usage_errors_take_one_line(run: Run, arguments: tuple[str, ...], told: str) -> None:
    line = refusal(run(*arguments))
    assert told in line and "--help" in line


def _raises(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(_args: object) -> int:
        raise error

    monkeypatch.setattr(check, "run", fail)


@pytest.mark.parametrize(
    "error",
    [InputError("a.toml", "name", "got nothing", "write one"), NotConvergedError("no end\nin 8 rounds")],
)
def test_errors_on_purpose_take_one_line(
    run: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    _raises(monkeypatch, error)
    assert refusal(run("check", FRAME)) == " ".join(str(error).split())


def test_a_fault_keeps_its_traceback_and_asks_for_a_report(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    _raises(monkeypatch, ZeroDivisionError("by a tooth"))
    ran = run("check", FRAME)
    *traceback, asked = ran.err.splitlines()
    assert ran.code == 70 and ran.out == ""
    assert traceback[0].startswith("Traceback") and traceback[-1] == "ZeroDivisionError: by a tooth"
    assert "report" in asked and "do not send pictures" in asked.lower()


def test_an_interrupt_is_quiet(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    _raises(monkeypatch, KeyboardInterrupt())
    ran = run("check", FRAME)
    assert (ran.code, ran.out, ran.err) == (130, "", "")


def test_a_reader_that_leaves_is_no_fault() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as gone:
        command = [sys.executable, "-m", "bite", "--help"]
        # argparse forgives a write that fails at once, as it does without a buffer
        buffered = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
        done = subprocess.run(command, stdout=gone, stderr=subprocess.PIPE, env=buffered, check=False)
    assert done.returncode == 141 and done.stderr == b""


def test_main_takes_the_arguments_of_the_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["bite", "--version"])
    assert main() == 0


@pytest.mark.parametrize("name", bite.__all__)
def test_public_names_are_there(name: str) -> None:
    assert getattr(bite, name) is not None
    assert name in dir(bite)


def test_an_unknown_public_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="tooth"):
        bite.tooth  # noqa: B018  the access is what is tested


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (("chekc", "x"), "'check'"),
        (("check", "x", "--quite"), "'--quiet'"),
        (("cast", "x", "--quiet"), ""),
        (("zzzz",), ""),
    ],
)
def test_a_misspelt_command_or_option_names_the_nearest(
    words: tuple[str, ...], meant: str, run: Run
) -> None:
    line = refusal(run(*words))
    assert f"did you mean {meant}" in line if meant else "did you mean" not in line
