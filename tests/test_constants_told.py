"""Every number that decides something has its reason or source beside it.

Lengths on paper (names ending in _IN or _PT) decide nothing. ``python -m tests.test_constants_told`` prints
the numbers that lack a reason.
"""

from __future__ import annotations

import ast
import io
import tokenize
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
MODULES = sorted((ROOT / "bite").rglob("*.py"))
"""Modules of the program, whose numbers decide."""


def is_number(node: ast.expr) -> bool:
    """Numbers, their tuples, and what is reckoned from numbers alone."""
    match node:
        case ast.Constant(value=value):
            return isinstance(value, (int, float)) and not isinstance(value, bool)
        case ast.UnaryOp(operand=operand):
            return is_number(operand)
        case ast.BinOp(left=left, right=right):
            return is_number(left) and is_number(right)
        case ast.Tuple(elts=parts) | ast.List(elts=parts):
            return bool(parts) and all(is_number(part) for part in parts)
    return False


def commented(text: str) -> set[int]:
    """Give the numbers of the lines that hold a comment."""
    return {
        token.start[0]
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT and not token.string.startswith(("# noqa", "# type:", "# fmt:"))
    }


def untold(text: str) -> Iterator[str]:
    """Name the module's numeric constants without a docstring below or a comment beside, above or below."""
    comments: set[int] | None = None
    body = ast.parse(text).body
    for here, after in zip(body, [*body[1:], None], strict=True):
        if isinstance(here, ast.Assign):
            targets = here.targets
        elif isinstance(here, ast.AnnAssign) and here.value is not None:
            targets = [here.target]
        else:
            continue
        if not is_number(here.value):
            continue
        if isinstance(after, ast.Expr) and isinstance(getattr(after.value, "value", None), str):
            continue
        comments = commented(text) if comments is None else comments
        if not comments & set(range(here.lineno - 1, (here.end_lineno or here.lineno) + 2)):
            names = [name.id for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)]
            if not all(name.endswith(("_IN", "_PT")) for name in names):
                yield ", ".join(names)


def all_untold() -> set[str]:
    return {
        f"{path.relative_to(ROOT / 'bite').as_posix()}: {name}"
        for path in MODULES
        for name in untold(path.read_text(encoding="utf-8"))
    }


def test_a_number_without_a_reason_is_seen() -> None:
    told = ["B, C = 1, -2", '"""Why."""', "D = 4  # why", "", "# why", "E = 5", "", 'H = "8"', "K_IN = 7.0"]
    assert list(untold("\n".join(told))) == []
    assert list(untold("A = 3.0\nF: float = -6 / 7\n\nL = (1, 2.0)\n")) == ["A", "F", "L"]


def test_every_number_has_its_reason() -> None:
    assert all_untold() == set(), "say why beside these numbers, or where they come from"


if __name__ == "__main__":
    print("\n".join(sorted(all_untold())))
