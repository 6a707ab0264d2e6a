"""A proof shares no code with what it proves: the worlds import nothing of the program or its demo."""

from __future__ import annotations

import ast
from pathlib import Path

HERE = Path(__file__).resolve().parent
MAY = {"study.py", "test_frames.py"}
THEIRS = {"bite", "demo_bite"}


def imported(source: str) -> set[str]:
    """Give the first names of all modules that a source imports, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module.partition(".")[0]}
    return found


def test_nothing_of_the_program_is_imported() -> None:
    guilty = {p.name for p in HERE.glob("*.py") if imported(p.read_text(encoding="utf-8")) & THEIRS}
    assert guilty <= MAY
    # the guard sees what it must: the study does import the program
    assert "study.py" in guilty


def test_what_is_borrowed_imports_nothing_of_the_program_either() -> None:
    borrowed = HERE.parent / "external" / "open_head.py"
    assert not imported(borrowed.read_text(encoding="utf-8")) & THEIRS
