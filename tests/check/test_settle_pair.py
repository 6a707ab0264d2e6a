"""What would settle an offset from a matched pair whose enamel had nothing to match."""

from pathlib import Path
from types import SimpleNamespace

from bite.check.settle import _for_a_pair
from bite.files.corners import CornerPoint, Corners, CornerState
from bite.files.depth import Matching


def frame(*codes_of_each_view: tuple[str, ...]) -> SimpleNamespace:
    views = []
    for name, codes in zip(("left", "right"), codes_of_each_view, strict=True):
        points = {code: CornerPoint(CornerState.SEEN, 10.0, 10.0, 0.5) for code in codes}
        views.append(SimpleNamespace(name=name, corners=Corners(Path(name), name, 100, 100, points, {})))
    return SimpleNamespace(views=views, stereo=Matching(("left", "right"), enamel_used=False))


def test_corners_that_one_view_lacks_are_asked_for_first() -> None:
    distal, every = ("11d", "21d"), ("11d", "11m", "21m", "21d")
    assert _for_a_pair(frame(distal, distal)).startswith("click 11m and 21m in both views")
    assert _for_a_pair(frame(every, distal)).startswith("click 11m and 21m in both views")
    assert _for_a_pair(frame(every, ("11d", "11m", "21d"))).startswith("click 21m in both views")


def test_with_every_corner_in_both_views_another_frame_is_what_helps() -> None:
    every = ("11d", "11m", "21m", "21d")
    told = _for_a_pair(frame(every, every))
    assert "--together" in told and "lips wider" not in told
