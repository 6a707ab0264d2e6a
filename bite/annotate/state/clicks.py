"""What has been clicked, in all views, as values that are never changed in place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from bite.annotate.state.order import is_corner
from bite.annotate.state.view import Point
from bite.files.corners import CornerPoint, Corners, CornerState, LandmarkPoint


@dataclass(frozen=True, slots=True)
class ViewClicks:
    """The clicks of one picture."""

    points: Mapping[str, CornerPoint] = field(default_factory=dict)
    landmarks: Mapping[str, LandmarkPoint] = field(default_factory=dict)

    @property
    def done(self) -> frozenset[str]:
        """Names of all items that have been dealt with, ``hidden`` ones included."""
        return frozenset(self.points) | frozenset(self.landmarks)

    @property
    def places(self) -> dict[str, Point]:
        """Where each visible mark is, px; ``hidden`` corners have no place that counts."""
        found: dict[str, Point] = {}
        for name, point in self.points.items():
            if point.state is not CornerState.HIDDEN and point.x_px is not None and point.y_px is not None:
                found[name] = (point.x_px, point.y_px)
        for name, mark in self.landmarks.items():
            found[name] = (mark.x_px, mark.y_px)
        return found

    def state_of(self, name: str) -> CornerState | None:
        """Give a corner's state; None for landmarks and what is not clicked."""
        point = self.points.get(name)
        return None if point is None else point.state

    def placed(self, name: str, at: Point) -> ViewClicks:
        """Put an item at a place: a new corner is ``seen``, a moved one keeps its state and sigma."""
        x, y = float(at[0]), float(at[1])
        if not is_corner(name):
            old_mark = self.landmarks.get(name)
            mark = LandmarkPoint(x, y, None if old_mark is None else old_mark.sigma_px)
            return replace(self, landmarks={**self.landmarks, name: mark})
        old = self.points.get(name)
        if old is None or old.state is CornerState.HIDDEN:
            point = CornerPoint(CornerState.SEEN, x, y)
        else:
            point = replace(old, x_px=x, y_px=y)
        return replace(self, points={**self.points, name: point})

    def stated(self, name: str, state: CornerState) -> ViewClicks:
        """Give a corner another state; ``hidden`` needs no place and forgets the one it had.

        Raises
        ------
        ValueError
            For a landmark, or a corner without a place in a state that needs one.
        """
        if not is_corner(name):
            raise ValueError(f"{name} is a landmark and has no state")
        if state is CornerState.HIDDEN:
            return replace(self, points={**self.points, name: CornerPoint(state)})
        if name not in self.places:
            raise ValueError(f"{name} has no place yet")
        return replace(self, points={**self.points, name: replace(self.points[name], state=state)})

    def without(self, name: str) -> ViewClicks:
        """Forget an item."""
        return ViewClicks(
            {k: v for k, v in self.points.items() if k != name},
            {k: v for k, v in self.landmarks.items() if k != name},
        )


Clicks = tuple[ViewClicks, ...]
"""The clicks of all views, in the order of the frame's views."""


def changed_view(clicks: Clicks, index: int, view: ViewClicks) -> Clicks:
    """Give the clicks with one view's replaced."""
    return (*clicks[:index], view, *clicks[index + 1 :])


def clicks_of_file(corners: Corners | None) -> ViewClicks:
    """Take over what a corner file holds; nothing without a file."""
    return ViewClicks() if corners is None else ViewClicks(dict(corners.points), dict(corners.landmarks))
