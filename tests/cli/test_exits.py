"""Exit codes: the worst of what happened wins, and a fault of the program is worse than bad input."""

from __future__ import annotations

from pathlib import Path

import pytest

import bite.cast.run
from bite.cast.content import FailedFrame, FailureKind
from bite.cast.run import Rows
from bite.check.decision import Verdict
from bite.cli.exits import Exit, exit_for
from tests.cli.runs import DEMO, Run

ALL = tuple(Verdict)
NEEDS_NOBODY = (Verdict.LEAVE, Verdict.MOVE, Verdict.USABLE)


@pytest.mark.parametrize("verdicts", [(), NEEDS_NOBODY, ALL])
def test_a_fault_wins_over_bad_input_and_bad_input_over_every_verdict(verdicts: tuple[Verdict, ...]) -> None:
    assert exit_for(verdicts, bad_inputs=3, faults=1) == 70
    assert exit_for(verdicts, faults=1) == 70
    assert exit_for(verdicts, bad_inputs=1) == 2


@pytest.mark.parametrize("verdict", ALL)
def test_one_verdict_that_needs_a_person_is_enough(verdict: Verdict) -> None:
    needed = 0 if verdict in NEEDS_NOBODY else 1
    assert exit_for([verdict]) == needed
    assert exit_for([*NEEDS_NOBODY, verdict]) == exit_for([verdict, *NEEDS_NOBODY]) == needed


def test_no_frames_need_nobody() -> None:
    assert exit_for([]) == 0


def test_codes_are_those_that_shells_and_batches_know() -> None:
    assert [code.value for code in Exit] == [0, 1, 2, 70, 130, 141]


@pytest.mark.parametrize(
    ("kinds", "code"),
    [
        ((FailureKind.INPUT,), 2),
        ((FailureKind.KILLED,), 2),
        ((FailureKind.FAULT,), 70),
        ((FailureKind.INPUT, FailureKind.FAULT), 70),
        ((FailureKind.FAULT, FailureKind.INPUT, FailureKind.INPUT), 70),
        ((), 0),
    ],
    ids=lambda value: "+".join(value) if isinstance(value, tuple) else str(value),
)
def test_a_cast_with_a_fault_among_bad_inputs_ends_in_70(
    run: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    kinds: tuple[FailureKind, ...],
    code: int,
) -> None:
    failures = tuple(FailedFrame(f"{k}.bite.toml", kind, f"line {k}") for k, kind in enumerate(kinds))
    monkeypatch.setattr(bite.cast.run, "run_frames", lambda *_, **__: Rows((), failures))
    assert run("cast", DEMO / "cast.toml", "--out", tmp_path).code == code
