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


def with_sign(value: float, places: int) -> str:
    """Give a number with its sign to some places; what rounds to zero has no sign.

    Examples
    --------
    >>> with_sign(1.418, 2), with_sign(-0.2, 1), with_sign(-0.004, 2)
    ('+1.42', '-0.2', '0.00')
    """
    rounded = round(value, places) + 0.0
    return f"{rounded:+.{places}f}" if rounded else f"{rounded:.{places}f}"
