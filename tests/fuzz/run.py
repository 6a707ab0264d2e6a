"""Damage demo files and run the program on them: it must refuse in one line or give the undamaged answer.

    python -m tests.fuzz.run --cases 20000 --first 0

Each case is told by its number alone. It runs in a process of its own, forked from one that has imported
everything, through the command line's own `main`, with limits on time and memory. What is asked of it:

- exit code 0, 1 or 2, no traceback, no line of a library; bad input of one frame is one line
- at most 10 s of processor time and 2 GB of memory
- nothing written outside of ``--out``, and no input changed
- where a check ends with 0, an offset within 0.5 mm of the undamaged one's
"""

from __future__ import annotations

import argparse
import contextlib
import json
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.bases import Base, bases, copied, make_files
from tests.fuzz.forked import Disturb, Ended, Spending, ended, import_everything
from tests.fuzz.mutations import mutated, replaced

MOST_CPU_S, MOST_BYTES = 10.0, 2_000_000_000
OFF_MM = 0.5
_FOREIGN = re.compile(
    r"Traceback|Warning|warning:|libpng|Corrupt JPEG|OpenCV[(:]|\[ *(WARN|ERROR|INFO)|0x[0-9a-f]{6}|fault in"
)
_REPLACED_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Outcome:
    """One case: what was done, how it ended, and what is wrong with that; empty where nothing is."""

    case: int
    base: str
    damage: str
    ended: Ended
    wrong: str


def run_cases(
    cases: Iterable[int], *, only: str = "", cheap_s: float | None = None
) -> Iterator[Outcome]:
    """Run cases one after the other.

    Parameters
    ----------
    cases : iterable of int
    only : str, a part of the name of the commands that are run; others are passed over
    cheap_s : float, optional
        Cases that take more processor time than this are ended and passed over: to find those worth keeping.
    """
    import_everything()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        root = Path(name) / "made"
        root.mkdir()
        make_files(root)
        known = bases()
        answers: dict[str, float | None] = {}
        before = _state(root)
        for case in cases:
            base = _drawn(case, known)
            rng = random.Random(f"damage {case} {base.name}")
            if only in base.name:
                spending = None if cheap_s is None else Spending(cheap_s)
                outcome = _case(case, rng, base, root, Path(name) / "case", answers, spending)
                if spending is None or not spending.ended:
                    yield outcome
        if _state(root) != before:
            raise AssertionError("an input was changed in place")


def _drawn(case: int, known: tuple[Base, ...]) -> Base:
    """Draw a base, by weight. One that is added takes its share of cases; all others stay what they were."""
    return max(known, key=lambda base: random.Random(f"{case} {base.name}").random() ** (1 / base.weight))


def _case(
    case: int,
    rng: random.Random,
    base: Base,
    root: Path,
    folder: Path,
    answers: dict[str, float | None],
    disturb: Disturb | None,
) -> Outcome:
    told, damage, strange = _run(base, root, folder, rng, disturb)
    wrong = strange or _wrong(base, told)
    after = _offset(told.out) if not wrong and told.code == 0 else None
    if after is not None:
        if base.name not in answers:
            answers[base.name] = _offset(_run(base, root, folder, None)[0].out)
        before = answers[base.name]
        if before is not None and abs(after - before) > OFF_MM:
            wrong = f"offset {before:+.2f} became {after:+.2f} with exit 0"
    return Outcome(case, base.name, damage, told, wrong)


def _run(
    base: Base, root: Path, folder: Path, rng: random.Random | None, disturb: Disturb | None = None
) -> tuple[Ended, str, str]:
    """Run a base in a fresh copy, damaged where ``rng`` is given; also say which files changed."""
    shutil.rmtree(folder, ignore_errors=True)
    at, out = folder / "in", folder / "out"
    out.mkdir(parents=True)
    files = copied(root, base, at)
    damage = "none"
    if rng is not None:
        path = rng.choice(files)
        if rng.random() < _REPLACED_SHARE:
            damage = replaced(rng, path)
        else:
            damage, data = mutated(rng, path.name, path.read_bytes())
            path.unlink()
            path.write_bytes(data)
        damage = f"{path.name}: {damage}"
    before = _state(folder, but=out)
    told = ended(base.arguments(at, out), folder, disturb=disturb)
    strange = {
        (name, state)
        for name, state in _state(folder, but=out) ^ before
        if not base.writes or base.writes not in name
    }
    return told, damage, f"written outside --out: {sorted(strange)[:3]}" if strange else ""


def _wrong(base: Base, ended: Ended) -> str:
    if ended.code not in (0, 1, 2):
        return f"exit code {ended.code}"
    foreign = _FOREIGN.search(ended.err)
    if foreign is not None:
        return f"a line of its own: {foreign.group()!r}"
    if ended.code == 2 and base.one_line and ended.err.count("\n") != 1:
        return f"{ended.err.count(chr(10))} lines"
    if ended.code == 2 and base.one_line and ended.out:
        return "an answer beside a refusal"
    if ended.cpu_s > MOST_CPU_S:
        return f"{ended.cpu_s:.1f} s of processor time"
    if ended.peak_bytes > MOST_BYTES:
        return f"{ended.peak_bytes / 1e9:.1f} GB"
    return ""


def _offset(out: str) -> float | None:
    try:
        table = json.loads(out)
        return float(table["offset"]["t_mm"])
    except (ValueError, LookupError, TypeError):
        return None


def _state(folder: Path, *, but: Path | None = None) -> set[tuple[str, str]]:
    """Give every file below a folder with what tells a change: its number on the disk, size and time."""
    found = set()
    for path in folder.rglob("*"):
        if but is not None and (path == but or but in path.parents):
            continue
        if path.is_symlink() or not path.is_file():
            found.add((str(path.relative_to(folder)), "no file"))
        elif path.name not in ("stdout", "stderr"):
            with contextlib.suppress(OSError):
                info = path.stat()
                found.add((str(path.relative_to(folder)), f"{info.st_ino} {info.st_size} {info.st_mtime_ns}"))
    return found


def kept_seeds(path: Path) -> list[int]:
    """Read case numbers, one a line; what follows a # is a remark."""
    told = (line.partition("#")[0].strip() for line in path.read_text(encoding="utf-8").splitlines())
    return [int(number) for number in told if number]


def main() -> int:
    """Run cases, print what is wrong, and count; exit code 1 where anything is."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seeds", type=Path, help="file of case numbers, in place of --cases and --first")
    parser.add_argument("--only", default="", help="part of a command's name")
    parser.add_argument("--minutes", type=float, default=1e9, help="stop after so long")
    parser.add_argument("--log", type=Path, help="file to which each case is added as a line")
    parser.add_argument("--cheap", type=float, help="pass over cases that take more processor time, s")
    args = parser.parse_args()
    cases: Iterable[int] = range(args.first, args.first + args.cases)
    if args.seeds is not None:
        cases = kept_seeds(args.seeds)
    codes: Counter[int] = Counter()
    wrong = 0
    cpu_s = peak = 0.0
    end = time.monotonic() + 60 * args.minutes
    for outcome in run_cases(cases, only=args.only, cheap_s=args.cheap):
        codes[outcome.ended.code] += 1
        cpu_s, peak = max(cpu_s, outcome.ended.cpu_s), max(peak, outcome.ended.peak_bytes)
        if outcome.wrong:
            wrong += 1
            print(f"case {outcome.case}: {outcome.base}: {outcome.damage}: {outcome.wrong}", flush=True)
            print("    " + outcome.ended.err[:300].replace("\n", "\n    "), flush=True)
        if args.log is not None:
            with args.log.open("a", encoding="utf-8") as log:
                log.write(
                    f"{outcome.case}\t{outcome.base}\t{outcome.damage}\t{outcome.ended.code}\t"
                    f"{outcome.ended.cpu_s:.3f}\t{outcome.ended.peak_bytes / 1e6:.0f}\t{outcome.wrong}\n"
                )
        if time.monotonic() > end:
            break
    told = ", ".join(f"{codes[code]} with {code}" for code in sorted(codes))
    most = f"at most {cpu_s:.1f} s and {peak / 1e6:.0f} MB"
    print(f"{sum(codes.values())} cases: {told}; {wrong} wrong; {most}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
