"""What one call of the command line gave back, and what a refusal looks like."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "demo_bite"


@dataclass(frozen=True, slots=True)
class Ran:
    """What one call of the command line gave back."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]
CopyDemo = Callable[..., Path]


def names_in(folder: Path) -> set[str]:
    """List all files under a folder."""
    return {path.relative_to(folder).as_posix() for path in sorted(folder.rglob("*")) if path.is_file()}


def edit(path: Path, *changes: tuple[str, str]) -> None:
    """Replace texts in a file; each must be there."""
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{old!r} is not in {path.name}"
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")


def one_line(ran: Ran) -> str:
    """Give the line of a refusal, after checking that it is all there is."""
    assert ran.err.endswith("\n") and ran.err.count("\n") == 1, ran.err
    return ran.err.rstrip("\n")


def refusal(ran: Ran) -> str:
    """Give the line of a run that must have ended in bad input and nothing else."""
    assert ran.code == 2, ran
    assert ran.out == ""
    return one_line(ran)
