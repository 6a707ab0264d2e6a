"""Where each picture of a frame lies on the screen, kept apart for each, through zooms, pans and resizes."""

from __future__ import annotations

from collections.abc import Sequence

from bite.annotate.state.desk import PictureSize
from bite.annotate.state.view import Area, Point, ViewTransform, fit_view, view_of_points


class Looking:
    """The map from picture to screen of each view; a picture nobody has looked at yet is shown whole.

    Parameters
    ----------
    pictures : sequence of PictureSize
    area : Area, the part of the screen that shows pictures
    """

    def __init__(self, pictures: Sequence[PictureSize], area: Area) -> None:
        self._pictures, self._area = tuple(pictures), area
        self._views: dict[int, ViewTransform] = {}

    def at(self, index: int) -> ViewTransform:
        """Give a view's map."""
        if index not in self._views:
            self.show_whole(index)
        return self._views[index]

    def show_whole(self, index: int) -> None:
        """Fit the picture into the area."""
        self._views[index] = self._whole(index)

    def show_points(self, index: int, places: list[Point]) -> None:
        """Show some picture places with room around them."""
        self._keep(index, view_of_points(places, self._area))

    def zoom(self, index: int, factor: float, at: Point) -> None:
        """Change the scale; the place under a screen place stays there."""
        self._keep(index, self.at(index).zoomed(factor, at))

    def pan(self, index: int, dx: float, dy: float) -> None:
        """Move the picture over the screen."""
        self._keep(index, self.at(index).panned(dx, dy))

    def resize(self, area: Area) -> None:
        """Take a new area: a whole picture stays whole, otherwise the place in the middle stays there."""
        whole = [index for index, view in self._views.items() if view == self._whole(index)]
        dx = (area.left + area.right - self._area.left - self._area.right) / 2
        dy = (area.top + area.bottom - self._area.top - self._area.bottom) / 2
        self._area = area
        for index in self._views:
            if index in whole:
                self.show_whole(index)
            else:
                self.pan(index, dx, dy)

    def _whole(self, index: int) -> ViewTransform:
        size = self._pictures[index]
        return fit_view(size.width_px, size.height_px, self._area)

    def _keep(self, index: int, view: ViewTransform) -> None:
        size = self._pictures[index]
        self._views[index] = view.kept_in_sight(size.width_px, size.height_px, self._area)
