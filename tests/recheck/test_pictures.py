"""Both solves of a recheck in one photograph."""

from pathlib import Path

import numpy as np
import pytest

from bite.check.steps import check_frame
from bite.evidence.model.outlines import Rim
from bite.files.bundle import load_frame
from bite.recheck.pictures import two_solves

DEMO = Path(__file__).parents[2] / "demo_bite"


@pytest.mark.slow
def test_before_and_after_are_the_two_solves_and_the_lips_stay() -> None:
    names = ("plover-b02", "plover-b02-after")
    first, second = (check_frame(load_frame(DEMO / f"plover/{name}.bite.toml")) for name in names)
    solves = two_solves(first, second)
    assert solves is not None and solves.before.window == solves.after.window

    def rows(rim: Rim) -> list[float]:
        middle = np.mean([mark.before_px for mark in second.marks if mark.before_px], axis=0)[0]
        out = []
        for mouth in (solves.before, solves.after):
            line = np.concatenate(mouth.lines(rim))
            out.append(float(np.median(line[np.abs(line[:, 0] - middle) < 25][:, 1])))
        return out

    edge, lip = rows(Rim.UPPER), rows(Rim.LIP)
    # 1.41 mm forward along a bite plane that falls by about 9 degrees, and 0.24 mm a pixel
    assert 0.8 < edge[1] - edge[0] < 2.5
    assert abs(lip[1] - lip[0]) < 0.3
    assert two_solves(first, check_frame(load_frame(DEMO / "whimbrel/whimbrel-a02.bite.toml"))) is None
