"""A number with its standard deviation: what every measurement here is handed on as."""

from __future__ import annotations

from dataclasses import dataclass

Z95 = 1.959963984540054
"""97.5 % point of the normal."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its sd, in one unit."""

    value: float
    sd: float

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval."""
        return self.value - Z95 * self.sd, self.value + Z95 * self.sd
