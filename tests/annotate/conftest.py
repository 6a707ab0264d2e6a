from pathlib import Path

import pytest

from tests.annotate.support import Hand, bench_of_frame, bench_of_picture, frame_of, grey_picture, hand_on


@pytest.fixture
def hand(tmp_path: Path) -> Hand:
    """A window of 1280 x 800 without a display, one picture, nothing clicked."""
    return hand_on(bench_of_picture(grey_picture(), tmp_path))


@pytest.fixture
def stereo_hand(tmp_path: Path) -> Hand:
    """The same with two calibrated views."""
    return hand_on(bench_of_frame(frame_of([grey_picture(), grey_picture()[::-1].copy()], tmp_path)))
