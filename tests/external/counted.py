"""How many figures of reference/ were published, computed or guessed, and how many a test holds the code to.

    python -m tests.external.counted

prints the table that reference/README.md shows; a test holds one to the other.
"""

from __future__ import annotations

import tomllib
from collections import Counter

from tests.external.reference import REFERENCE

KINDS = {
    "read": "published, read in the source",
    "abstract only": "published, read in an abstract",
    "computed here": "computed from other entries",
    "from memory": "guessed or remembered",
}


def counts() -> dict[str, tuple[int, int]]:
    """Give for each status how many values have it, and how many of these the code is held to."""
    every, held = Counter[str](), Counter[str]()
    for path in sorted(REFERENCE.glob("*.toml")):
        with path.open("rb") as file:
            for entry in tomllib.load(file)["values"]:
                every[entry["status"]] += 1
                held[entry["status"]] += bool(entry.get("check"))
    return {status: (every[status], held[status]) for status in KINDS}


def table() -> str:
    """Write the counts as a table, with their sums."""
    found = counts()
    rows = [f"| {KINDS[status]} | `{status}` | {n} | {held} |" for status, (n, held) in found.items()]
    whole, held = (sum(column) for column in zip(*found.values(), strict=True))
    head = ["| figures | status | values | of these, held against the code |", "|---|---|---|---|"]
    return "\n".join([*head, *rows, f"| all | | {whole} | {held} |"])


if __name__ == "__main__":
    print(table())
