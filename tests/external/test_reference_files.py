"""Every file of reference/ keeps the form its README describes."""

from __future__ import annotations

import ast
import datetime
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.external.counted import table
from tests.external.reference import REFERENCE

FILES = sorted(REFERENCE.glob("*.toml"))
STATUS = {"read", "abstract only", "from memory", "computed here"}
TOP = {"format", "title", "about", "checked", "sources", "values"}
SOURCE = {"authors", "year", "work", "place", "read_at", "note"}
ENTRY = {"key", "value", "unit", "source", "where", "status"}
ENTRY_OPTIONAL = {"sd", "n", "group", "note", "checked", "check"}


def faults(content: dict[str, Any]) -> list[str]:
    """Say everything that is wrong with one file."""
    found = []
    if content.get("format") != "bite-reference 1":
        found.append("format")
    found += [f"unknown key {key}" for key in content.keys() - TOP]
    found += [f"no {key}" for key in ("title", "about") if not str(content.get(key, "")).strip()]
    if not isinstance(content.get("checked"), datetime.date):
        found.append("no day of the last check")
    sources = content.get("sources", {})
    for name, source in sources.items():
        found += [f"source {name}: unknown key {key}" for key in source.keys() - SOURCE]
        found += [f"source {name}: no {key}" for key in ("authors", "work") if not source.get(key)]
        if not isinstance(source.get("year"), int) or "place" not in source:
            found.append(f"source {name}: year or place is missing")
    entries = content.get("values", [])
    if not entries:
        found.append("no values")
    seen = set()
    for entry in entries:
        name = entry.get("key", "?")
        found += [f"{name}: no {key}" for key in ENTRY - entry.keys()]
        found += [f"{name}: unknown key {key}" for key in entry.keys() - ENTRY - ENTRY_OPTIONAL]
        status, source = entry.get("status"), entry.get("source")
        if status not in STATUS:
            found.append(f"{name}: status {status!r}")
        if source != "here" and source not in sources:
            found.append(f"{name}: source {source!r} is not listed")
        if (source == "here") != (status == "computed here"):
            found.append(f"{name}: 'here' and 'computed here' go together")
        if status == "from memory" and entry.get("check"):
            found.append(f"{name}: a value from memory may not be checked against")
        if not entry.get("unit"):
            found.append(f"{name}: no unit")
        if isinstance(entry.get("value"), str):
            if entry.get("check"):
                found.append(f"{name}: a text cannot be checked against")
        else:
            numbers = np.array(entry.get("value"), dtype=float)  # ragged or mixed lists fail here
            if not np.isfinite(numbers).all():
                found.append(f"{name}: not finite")
        if "sd" in entry and not entry["sd"] > 0:
            found.append(f"{name}: sd {entry['sd']}")
        mark = (name, source, entry.get("group", ""), bool(entry.get("check")))
        if mark in seen:
            found.append(f"{name}: twice from one source and group")
        seen.add(mark)
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_file_keeps_the_form(path: Path) -> None:
    with path.open("rb") as file:
        assert faults(tomllib.load(file)) == []


def test_there_are_files() -> None:
    assert len(FILES) >= 20


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"status": "sure"}, "status 'sure'"),
        ({"source": "nobody"}, "source 'nobody' is not listed"),
        ({"status": "from memory", "check": True}, "from memory may not be checked"),
        ({"unit": ""}, "no unit"),
        ({"value": float("nan")}, "not finite"),
        ({"typo": 1}, "unknown key typo"),
    ],
)
def test_faults_are_found(change: dict[str, Any], complaint: str) -> None:
    entry = {"key": "a", "value": 1.0, "unit": "mm", "source": "b", "where": "", "status": "read"}
    content = {
        "format": "bite-reference 1",
        "title": "t",
        "about": "a",
        "checked": datetime.date(2026, 11, 25),
        "sources": {"b": {"authors": "x", "year": 1999, "work": "w", "place": "p"}},
        "values": [entry],
    }
    assert faults(content) == []
    content["values"] = [entry | change]
    assert any(complaint in fault for fault in faults(content))


def test_code_names_only_files_that_exist() -> None:
    package = REFERENCE.parent / "bite"
    named = set()
    for module in package.rglob("*.py"):
        for word in module.read_text(encoding="utf-8").split("reference/")[1:]:
            if ".toml" in word[:60]:
                named.add(word.partition(".toml")[0])
    assert named
    assert {name for name in named if not (REFERENCE / f"{name}.toml").exists()} == set()


def test_the_readme_counts_what_is_there() -> None:
    readme = (REFERENCE / "README.md").read_text(encoding="utf-8")
    assert table() in readme, "put there what python -m tests.external.counted prints"


TESTS = sorted(Path(__file__).parent.glob("test_*.py"))


def _texts(module: ast.AST) -> list[re.Pattern[str]]:
    """Give every text of a module as a pattern; what an f-string fills in may be anything."""
    found = []
    for node in ast.walk(module):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.append(re.compile(re.escape(node.value)))
        elif isinstance(node, ast.JoinedStr):
            parts = [
                re.escape(str(part.value)) if isinstance(part, ast.Constant) else r"\w+"
                for part in node.values
            ]
            found.append(re.compile("".join(parts)))
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_value_to_check_by_is_asked_for_by_a_test_that_calls_the_program(path: Path) -> None:
    """A file that nobody opens, or that is held against itself, cannot fail because of the program."""
    with path.open("rb") as file:
        wanted = {entry["key"] for entry in tomllib.load(file)["values"] if entry.get("check")}
    if not wanted:
        return
    asked = []
    for test in TESTS:
        source = test.read_text(encoding="utf-8")
        if f'reference("{path.stem}")' in source and re.search(r"^from bite", source, flags=re.MULTILINE):
            asked += _texts(ast.parse(source))
    assert {key for key in wanted if not any(text.fullmatch(key) for text in asked)} == set()
