"""The panels that carry a decision look as they did when they were looked at."""

import cv2
import numpy as np
import pytest

from tests.golden.pictures import NEAR, alike, made, path_of


@pytest.mark.slow
def test_pictures_that_carry_a_decision_are_as_they_were() -> None:
    drawn = made()
    off = {name: share for name, picture in drawn.items() if (share := alike(picture, golden(name))) < NEAR}
    assert not off, f"share drawn alike, needed {NEAR}: {off}; python -m tests.golden.pictures, and look"
    # the tolerance tells the other answer: an arrow the other way, and a refusal from an advice
    other = made(forward_mm=-1.42, pages=False)
    for name in ("dial-move", "dial-beyond", "crowns-move", "outline-move"):
        assert alike(other[name], golden(name)) < NEAR, name
    assert alike(drawn["page-move"], golden("page-refused")) < NEAR
    assert alike(drawn["dial-move"], golden("dial-refused")) < NEAR
    assert np.ptp(golden("dial-refused").astype(int), axis=-1).max() < 10, "a refusal has no colour of advice"


def golden(name: str):
    picture = cv2.imread(str(path_of(name)))
    assert picture is not None, f"no golden picture {name}: python -m tests.golden.pictures"
    return picture
