"""Fixtures for the readers' tests."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from bite.errors import InputError
from tests.files.scene import write_frame

Refuses = Callable[..., str]


@pytest.fixture
def frame(tmp_path: Path) -> Path:
    return write_frame(tmp_path)


@pytest.fixture
def refuses() -> Refuses:
    """Call a reader that must refuse; give the message, after checking that it is one line naming a file."""

    def call(read: Callable[[], object]) -> str:
        with pytest.raises(InputError) as caught:
            read()
        message = str(caught.value)
        assert "\n" not in message
        assert message.startswith(caught.value.file)
        assert caught.value.what and caught.value.mend
        return message

    return call
