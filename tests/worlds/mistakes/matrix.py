"""The program run on all mistakes, and its answers held against what is true.

    python -m tests.worlds.mistakes.matrix --heads 5 --keep FOLDER --table docs/mistakes.md

Each mistake on each head is one cell. A cell is *off* where the answer is leave or move and the offset is off
by more than 0.5 mm from what the right files would say; the reason is *told* where the headline, the
sentence below it or the one line of an error names the wrong file. ``--only PATTERN`` runs some mistakes;
``--cells FILE`` keeps every cell as it is done, and does not do again what is there: delete it when the
program has changed.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.worlds.mistakes.every import MISTAKES, Mistake
from tests.worlds.mistakes.takes import Takes
from tests.worlds.write import FRAME, TRUTH

OFF_MM = 0.5
RIGHT = "none"
"""Kind of the cells in which nothing is wrong."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One mistake on one head; ``off_mm`` is None without an offset."""

    mistake: str
    kind: str
    head: int
    verdict: str
    off_mm: float | None
    told: bool
    said: str

    @property
    def wrong(self) -> bool:
        """A leave or a move that is off by more than the tolerance."""
        return self.verdict in ("leave", "move") and self.off_mm is not None and abs(self.off_mm) > OFF_MM


def run(mistake: Mistake, takes: Takes, folder: Path) -> Cell:
    """Make one cell's frame, check it, and tell."""
    from bite.check.steps import check_frame
    from bite.check.words import headline, reason
    from bite.errors import BiteError
    from bite.files.bundle import load_frame

    shutil.copytree(getattr(takes, mistake.base), folder)
    mistake.edit(folder, takes)
    truth = json.loads((folder / TRUTH).read_text(encoding="utf-8"))["t_mm"]
    verdict, off = "exit 2", None
    try:
        found = check_frame(load_frame(folder / FRAME))
    except BiteError as error:
        said = str(error).replace(str(folder), "")
    else:
        verdict = str(found.decision.verdict)
        off = None if found.fit is None else found.fit.offset.value - truth
        said = f"{headline(found)} / {reason(found)}".partition(": ")[2]
    told = re.search(mistake.says, said, re.IGNORECASE) is not None
    return Cell(mistake.name, mistake.kind, takes.number, verdict, off, told, said)


def table(cells: Sequence[Cell]) -> Iterable[str]:
    """Give the lines of the table, one a mistake, worst first, otherwise in the order of ``MISTAKES``."""

    def bad(mistake: Mistake) -> tuple[float, ...]:
        own = [cell for cell in cells if cell.mistake == mistake.name]
        count = max(len(own), 1)
        sure = sum(cell.verdict in ("leave", "move") for cell in own)
        wanted = -sure if mistake.kind == RIGHT else sure
        return (-sum(cell.wrong for cell in own), sum(cell.told for cell in own) / count, -wanted / count)

    yield "| mistake | kind | answers | farthest `leave` or `move`, mm | off by over 0.5 mm | reason told |"
    yield "|---|---|---|---|---|---|"
    for mistake in sorted(MISTAKES, key=bad):
        own = [cell for cell in cells if cell.mistake == mistake.name]
        if not own:
            continue
        answers = ", ".join(f"{name} {n}" for name, n in Counter(cell.verdict for cell in own).most_common())
        sure = [abs(c.off_mm) for c in own if c.verdict in ("leave", "move") and c.off_mm is not None]
        farthest = f"{max(sure):.2f}" if sure else "none"
        told = sum(cell.told for cell in own)
        yield (
            f"| {mistake.name} | {mistake.kind} | {answers} | {farthest} "
            f"| {sum(cell.wrong for cell in own)} of {len(own)} | {told} of {len(own)} |"
        )


def summary(cells: Sequence[Cell]) -> str:
    """Give both counts: wrong answers and reasons told where something is wrong, alarms where nothing is."""
    right = [cell for cell in cells if cell.kind == RIGHT]
    wrong = [cell for cell in cells if cell.kind != RIGHT]
    alarms = sum(cell.verdict not in ("leave", "move") for cell in right)
    off, told = sum(cell.wrong for cell in wrong), sum(cell.told for cell in wrong)
    sure = sum(cell.verdict in ("leave", "move") for cell in wrong)
    return (
        f"{len(wrong)} cells with a mistake: {off} with a leave or move off by more than {OFF_MM} mm, "
        f"{sure} with any leave or move, reason told in {told} ({100 * told / max(len(wrong), 1):.0f} %); "
        f"{len(right)} cells without: {alarms} with another answer than leave or move"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the matrix; give 1 where a leave or move is off."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.worlds.mistakes.matrix", description=__doc__.partition("\n")[0]
    )
    parser.add_argument("--heads", type=int, default=2)
    parser.add_argument("--first-head", type=int, default=1)
    parser.add_argument("--only", default="", help="mistakes whose name this pattern finds")
    parser.add_argument("--keep", type=Path, help="keep what the frames are made from here")
    parser.add_argument("--table", type=Path, help="write the table into this file, between its two marks")
    parser.add_argument("--cells", type=Path, help="keep each cell in this file; use those that are there")
    asked = parser.parse_args(arguments)
    cells: list[Cell] = [] if asked.cells is None else _kept(asked.cells)
    there = {(cell.mistake, cell.head) for cell in cells}
    with TemporaryDirectory() as passing:
        base = asked.keep or Path(passing) / "takes"
        for head in range(asked.first_head, asked.first_head + asked.heads):
            for mistake in MISTAKES:
                if not re.search(asked.only, mistake.name) or (mistake.name, head) in there:
                    continue
                folder = Path(passing) / "frame"
                shutil.rmtree(folder, ignore_errors=True)
                cell = run(mistake, Takes(head, base), folder)
                cells.append(cell)
                if asked.cells is not None:
                    with asked.cells.open("a", encoding="utf-8") as file:
                        file.write(json.dumps(asdict(cell)) + "\n")
                off = "" if cell.off_mm is None else f" off {cell.off_mm:+.2f}"
                marks = ("OFF " if cell.wrong else "") + ("" if cell.told else "NOT TOLD ")
                print(f"{mistake.name} [{head}]: {marks}{cell.verdict}{off}: {cell.said[:260]}", flush=True)
    print(summary(cells))
    if asked.table:
        _write_table(asked.table, [summary(cells) + ".", "", *table(cells)])
    return int(any(cell.wrong for cell in cells))


def _kept(path: Path) -> list[Cell]:
    """Read cells that were done before."""
    if not path.exists():
        return []
    return [Cell(**json.loads(line)) for line in path.read_text(encoding="utf-8").splitlines()]


BEGIN, END = "<!-- matrix -->", "<!-- end of matrix -->"


def _write_table(path: Path, lines: Sequence[str]) -> None:
    text = path.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    path.write_text(f"{before}{BEGIN}\n" + "\n".join(lines) + f"\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    raise SystemExit(main())
