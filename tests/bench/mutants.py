"""Single faults put into the fit and the decision, to see that a test notices each.

    python -m tests.bench.mutants [--only TEXT] [--list]

The faults are our own and lie in `tests/bench/faults/*.toml`. The project is copied to a temporary folder;
one fault at a time is put in, the test files named for it are run there (pytest -x -q), and it is taken out
again. A fault that no test notices must say in `survives_because` why that is no hole. Ends in 1 when one
survives without, when its text is no longer found just once in its file, or when it does not even load.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from importlib.util import cache_from_source
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
FAULTS = Path(__file__).resolve().parent / "faults"
NEEDED = ("bite", "tests", "demo_bite", "reference", "pyproject.toml", "README.md")
_PLAIN = ("-p", "no:cacheprovider", "-p", "no:hypothesispytest")
"""No plugin that costs more than most of the tests."""
LONGEST_S = 600
"""A fault that keeps a loop from ending is noticed as well: by whoever waits."""


class Outcome(StrEnum):
    """What became of a fault."""

    KILLED = "killed"
    HANGS = "killed (no end)"
    SURVIVED = "SURVIVED"
    ACCEPTED = "survived, accepted"
    STALE = "STALE"
    BROKEN = "DOES NOT LOAD"


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    Parameters
    ----------
    file : str, path from the project's folder
    old, new : str, exact text that stands once in the file, and what is put in its place
    breaks : str, one clause: what the fault does
    tests : tuple of str, test files that should notice it
    survives_because : str, why no test need notice it; empty for most
    """

    file: str
    old: str
    new: str
    breaks: str
    tests: tuple[str, ...]
    survives_because: str = ""

    @property
    def told(self) -> str:
        """Say which fault this is."""
        return f"{self.file}: {self.breaks}"


def read_faults(folder: Path = FAULTS) -> list[Fault]:
    """Read all lists: at the top of each a file and its tests; a fault may name its own tests."""
    faults = []
    for path in sorted(folder.glob("*.toml")):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        for entry in table.pop("fault"):
            merged = {"file": table["file"], "tests": table["tests"], **entry}
            faults.append(Fault(**{**merged, "tests": tuple(merged["tests"])}))
    return faults


def broken_text(root: Path, fault: Fault) -> str | None:
    """Give the file's text with the fault in it; None where its old text does not stand there just once."""
    text = (root / fault.file).read_text(encoding="utf-8")
    fits = text.count(fault.old) == 1 and fault.old != fault.new
    return text.replace(fault.old, fault.new) if fits else None


def run_tests(root: Path, tests: tuple[str, ...], *, keep_bytecode: bool = False) -> int | None:
    """Run test files in a copy; give pytest's exit code, or None when they do not end."""
    environment = {**os.environ, "PYTHONPATH": str(root)}
    if not keep_bytecode:
        environment["PYTHONDONTWRITEBYTECODE"] = "1"
    command = [sys.executable, "-m", "pytest", "-x", "-q", *_PLAIN, *tests]
    try:
        done = subprocess.run(command, cwd=root, env=environment, capture_output=True, timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        return None
    return done.returncode


def outcome_of(root: Path, fault: Fault) -> Outcome:
    """Put a fault into a copy, run its tests, take it out."""
    text = broken_text(root, fault)
    if text is None:
        return Outcome.STALE
    path = root / fault.file
    whole = path.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    # a file changed twice within one second would be taken as it was
    Path(cache_from_source(str(path))).unlink(missing_ok=True)
    try:
        code = run_tests(root, fault.tests)
    finally:
        path.write_text(whole, encoding="utf-8")
    if code is None:
        return Outcome.HANGS
    if code == 0:
        return Outcome.ACCEPTED if fault.survives_because else Outcome.SURVIVED
    return Outcome.KILLED if code == 1 else Outcome.BROKEN


def copied(folder: Path) -> Path:
    """Copy what tests need."""
    root = folder / "copy"
    root.mkdir()
    for name in NEEDED:
        if (PROJECT / name).is_dir():
            shutil.copytree(PROJECT / name, root / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(PROJECT / name, root)
    return root


def check_copy(root: Path, faults: list[Fault]) -> None:
    """Stop where tests fail without any fault, or would run on anything but the copy."""
    where = subprocess.run(
        [sys.executable, "-c", "import bite; print(bite.__file__)"],
        cwd=root, env={**os.environ, "PYTHONPATH": str(root)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    if not Path(where.stdout.strip()).resolve().is_relative_to(root.resolve()):
        raise SystemExit(f"tests would run on {where.stdout.strip()}, not on the copy")
    every = tuple(dict.fromkeys(test for fault in faults for test in fault.tests))
    if code := run_tests(root, every, keep_bytecode=True):
        raise SystemExit(f"pytest ends in {code} without any fault: mend that first")


def list_faults(faults: list[Fault]) -> int:
    """Print the list; say which entries no longer fit."""
    stale = 0
    for fault in faults:
        fits = broken_text(PROJECT, fault) is not None
        stale += not fits
        print(f"{'' if fits else 'STALE '}{fault.told}")
        if fault.survives_because:
            print(f"    survives because {fault.survives_because}")
    print(f"{len(faults)} faults, {stale} stale")
    return int(stale > 0)


def main() -> int:
    """Run the faults and print what became of each."""
    form = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=form)
    parser.add_argument("--only", default="", metavar="TEXT", help="faults whose file or clause holds this")
    parser.add_argument("--list", action="store_true", help="print the list and which entries are stale")
    args = parser.parse_args()
    faults = [fault for fault in read_faults() if args.only in fault.told]
    if args.list:
        return list_faults(faults)
    with tempfile.TemporaryDirectory() as name:
        root = copied(Path(name))
        check_copy(root, faults)
        outcomes = []
        for fault in faults:
            outcomes.append(outcome_of(root, fault))
            print(f"{outcomes[-1]:<18}  {fault.told}", flush=True)
            if outcomes[-1] is Outcome.ACCEPTED:
                print(f"{'':<18}  because {fault.survives_because}")
            elif fault.survives_because:
                print(f"{'':<18}  is noticed now: its reason can go")
    count = Counter(outcomes)
    print(f"{len(faults)} faults: " + ", ".join(f"{count[kind]} {kind}" for kind in Outcome if count[kind]))
    return int(any(count[kind] for kind in (Outcome.SURVIVED, Outcome.STALE, Outcome.BROKEN)))


if __name__ == "__main__":
    sys.exit(main())
