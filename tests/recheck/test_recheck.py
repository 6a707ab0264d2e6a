"""What a recheck advises, from plain numbers: gains, stop rules, bounds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bite.errors import InputError
from bite.files.rig import Dial, Part, PartNames, Rig
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen
from bite.recheck.steps import (
    Advice,
    Recheck,
    Side,
    achieved_by_results,
    recheck,
    refuse_other_pictures,
    refuse_other_rig,
)
from bite.stats.estimate import Estimate

DIAL = Dial(True, 3.2, None, None, 1.0, 0.01)


def run(
    t0: float, t1: float, d1: float, *, sd: float = 0.1, moved_sd: float = 0.02, dial: Dial | None = DIAL
) -> Recheck:
    before, after = (Side(n, "p", d, Estimate(t, sd), sd) for n, d, t in (("a", 0.0, t0), ("b", d1, t1)))
    return recheck(before, after, (Estimate(t0 - t1, moved_sd), "planted"), dial=dial)


def test_a_weak_dial_is_found_and_the_next_value_uses_it() -> None:
    found = run(2.0, 0.6, -0.62)
    # 1.4 mm for 0.62 units is 0.706 of the 1.984 mm that were promised
    assert found.predicted_mm == pytest.approx(1.984) and found.gain.value == pytest.approx(-2.258, abs=1e-3)
    assert found.gain.sd == pytest.approx(0.02 / 0.62) and found.gain_wrong
    assert found.advice is Advice.AGAIN and found.next is not None
    # the achieved share is known 30 times better than the rig's word: within 1 % of the secant's step
    assert found.next.after == pytest.approx(-0.62 - 0.6 / 2.258, abs=0.006)


def test_a_share_that_nobody_could_measure_falls_back_to_the_rig() -> None:
    found = run(0.9, 0.8, -0.1, sd=0.2, moved_sd=3.0)
    assert found.next is not None and found.next.after == pytest.approx(-0.1 - 0.8 / 3.2, abs=0.006)
    assert not found.gain_wrong


@pytest.mark.parametrize(
    ("t1", "sd", "d1", "advice"),
    [
        (0.1, 0.1, -0.4, Advice.STOP),
        (0.7, 0.5, -0.4, Advice.BLIND),
        (0.9, 0.1, -0.4, Advice.AGAIN),
        (3.0, 0.1, -0.4, Advice.END),
        (2.6, 0.1, -0.4, Advice.WRONG_WAY),
    ],
)
def test_advice(t1: float, sd: float, d1: float, advice: Advice) -> None:
    start = {Advice.END: 4.3, Advice.AGAIN: 2.2}.get(advice, 1.4)
    found = run(start, t1, d1, sd=sd)
    assert found.advice is advice
    if advice is Advice.END:
        assert found.next is not None and found.next.after == -1.0 and found.next.left_over_mm > 0


def test_a_travel_table_is_scaled_and_an_unmeasured_dial_gets_the_secant() -> None:
    table = replace(DIAL, mm_per_unit=None, travel=frozen([[-1.0, 3.2], [0.0, 0.0], [1.0, -3.2]]))
    assert run(2.0, 0.6, -0.62, dial=table).next == run(2.0, 0.6, -0.62).next
    unmeasured = replace(DIAL, mm_per_unit=None)
    found = run(2.0, 0.6, -0.62, dial=unmeasured)
    assert found.predicted_mm is None and found.next is not None
    assert found.next.after == pytest.approx(-0.62 - 0.6 / 2.258, abs=0.006)
    assert run(2.0, 0.6, -0.62, dial=None).next is None
    assert run(2.0, 0.6, -0.62, moved_sd=2.0, dial=unmeasured).next is None


def test_doubt_and_standing_still() -> None:
    before, after = (
        Side("a", "p", 0.0, Estimate(1, 0.1), 0.1),
        Side("b", "p", -0.3, Estimate(0, 0.1), 0.1, "gap"),
    )
    found = recheck(before, after, achieved_by_results(before, after), dial=DIAL)
    assert found.advice is Advice.UNSURE and "gap" in found.why
    assert found.achieved.sd == pytest.approx(np.hypot(0.1, 0.1))
    with pytest.raises(InputError, match="nothing was moved"):
        recheck(before, replace(after, dial=0.0), achieved_by_results(before, after), dial=DIAL)


def test_other_pictures_and_other_rigs_are_refused() -> None:
    one = {"a.png": "1", "d.npy": "2", "solved.obj": "3"}
    refuse_other_pictures("x", "y", one, {"../a.png": "1", "d.npy": "2", "solved.obj": "4"})
    for other in ({"a.png": "9", "d.npy": "2"}, {"a.png": "1"}, {**one, "more.png": "5"}):
        with pytest.raises(InputError, match="another bite frame"):
            refuse_other_pictures("x", "y", one, other)
    parts = {Part.SKIN: PartNames(("f",)), Part.UPPER: PartNames(("u",)), Part.LOWER: PartNames(("l",))}
    rig = Rig(Path("r"), Path("o"), 1.0, frozen([0, 0, 1]), frozen([0, 1, 0]), parts, {}, {}, DIAL)
    mesh = Mesh(frozen(np.eye(3)), np.array([[0, 1, 2]], np.int32), {})
    refuse_other_rig("y", rig, replace(rig, dial=replace(DIAL, mm_per_unit=2.0)), mesh, mesh)
    refuse_other_rig("y", rig, replace(rig, teeth="modelled"), mesh, mesh)
    scans = replace(rig, teeth="scanned")
    other = replace(mesh, vertices_mm=frozen(np.eye(3) * 2))
    turned = replace(rig, forward=frozen([0, 1, 0]))
    for odd, rest in ((turned, mesh), (rig, other), (None, mesh), (scans, mesh)):
        with pytest.raises(InputError, match="rig"):
            refuse_other_rig("y", rig, odd, mesh, rest)
