"""Open the files of reference/ for a test, and refuse to judge by a value that nobody looked up."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

REFERENCE = Path(__file__).resolve().parents[2] / "reference"


@dataclass(frozen=True, slots=True)
class Reference:
    """One file of reference/."""

    name: str
    content: dict[str, Any]

    def value(self, key: str, *, source: str | None = None) -> Any:
        """Give a value that may pass or fail a test: exactly one entry, marked ``check = true``."""
        found = [
            entry
            for entry in self.content["values"]
            if entry["key"] == key and entry.get("check") and source in (None, entry["source"])
        ]
        assert len(found) == 1, f"reference/{self.name}.toml: {len(found)} entries to check by for {key!r}"
        assert found[0]["status"] != "from memory"
        return found[0]["value"]

    def array(self, key: str, *, source: str | None = None) -> np.ndarray:
        """Give a list of numbers as an array of floats."""
        return np.array(self.value(key, source=source), dtype=float)
