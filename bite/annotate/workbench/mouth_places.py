"""Where in a picture is the mouth? By what was clicked, else by the last answer, else by the solved model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bite.annotate.drawing.aids import Aids
from bite.annotate.state.answer import Answer
from bite.annotate.state.desk import Desk
from bite.annotate.state.mouth import solved_places
from bite.annotate.state.view import Point
from bite.files.bundle import BiteFrame


@dataclass(slots=True)
class MouthPlaces:
    """Corners of the mouth in the pictures of one frame, px."""

    frame: BiteFrame
    aids: Aids
    _solved: Mapping[str, Mapping[str, Point]] | None = field(default=None, init=False)

    def found(self, desk: Desk, answer: Answer | None) -> list[Point]:
        """Give two or more places in the present view's picture; fewer where nothing tells of the mouth."""
        places = [p for name, p in desk.here.places.items() if name[0].isdigit()]
        if len(places) < 2:
            places = list(self.aids.before(desk.view, answer).values())
        if len(places) < 2:
            if self._solved is None:
                self._solved = solved_places(self.frame)
            places = list(self._solved.get(desk.picture.name, {}).values())
        return places

    def teeth(self, desk: Desk, answer: Answer | None) -> tuple[Point | None, float | None]:
        """Give the middle of the front teeth and how far they reach up and down, px."""
        places = self.found(desk, answer)
        if len(places) < 2:
            return None, None
        xs = [p[0] for p in places]
        middle = sum(xs) / len(xs), sum(p[1] for p in places) / len(places)
        # four central corners span some 17 mm, a crown is some 9 mm high
        return middle, max(2.0, 0.25 * (max(xs) - min(xs)))
