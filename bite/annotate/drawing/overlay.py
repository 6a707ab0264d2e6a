"""The solved mouth over the photograph: outlines, lit surface, blinking between the two, and a wipe."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from bite.annotate.drawing.draw_marks import BLACK, SOLVED_AFTER, SOLVED_BEFORE, WHITE, Brush
from bite.annotate.drawing.lettering import Colour
from bite.annotate.drawing.pyramid import Pyramid
from bite.annotate.state.keys import Action
from bite.annotate.state.later import Later
from bite.check.solved_looks import Looks
from bite.evidence.model.outlines import Rim
from bite.evidence.model.solved_mouth import SolvedMouth
from bite.geometry.rigid import Array
from bite.plots.style import AFTER, BEFORE

BLINK_POLLS = 8
"""Looks of the window at its clock between two pictures: 0.8 s, long enough to see each (our choice)."""
_SIDES = ("left", "right")
Image = NDArray[np.uint8]


class Layer(Enum):
    """What the picture shows of the solved mouth."""

    PHOTOGRAPH = "photograph"
    BEFORE = BEFORE.word
    AFTER = AFTER.word


def _word(layer: Layer, after: bool) -> str:
    """Name a layer; where nothing is to be moved there is no "before"."""
    return "as solved" if layer is Layer.BEFORE and not after else layer.value


_COLOURS: dict[Layer, Colour] = {
    Layer.PHOTOGRAPH: BLACK,
    Layer.BEFORE: SOLVED_BEFORE,
    Layer.AFTER: SOLVED_AFTER,
}


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Lines of one placement in picture places: edges that move with the teeth, and rims that stay."""

    colour: Colour
    own: tuple[Array, ...]
    still: tuple[Array, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """One view's pictures by layer, and its outlines."""

    pictures: Mapping[Layer, Pyramid]
    outlines: tuple[Outlines, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Overlay:
    """What the screen draws of it.

    Parameters
    ----------
    shown : Pyramid or None, in place of the photograph
    beyond : Pyramid or None, right of ``wipe_x``
    wipe_x : int or None, screen column
    outlines : tuple of Outlines
    words : tuple of (text, colour), what is seen
    """

    shown: Pyramid | None = None
    beyond: Pyramid | None = None
    wipe_x: int | None = None
    outlines: tuple[Outlines, ...] = ()
    words: tuple[tuple[str, Colour], ...] = ()

    def same_base(self, last: Overlay) -> bool:
        """Tell whether the picture below the marks is the same."""
        return self.shown is last.shown and self.beyond is last.beyond and self.wipe_x == last.wipe_x

    def same_marks(self, last: Overlay) -> bool:
        """Tell whether lines and words are the same."""
        return self.outlines is last.outlines and self.words == last.words


NO_OVERLAY = Overlay()


def laid_in(images: Mapping[str, Image], looks: Mapping[str, Looks]) -> dict[str, Laid]:
    """Lay the solved mouth into every picture that sees it; takes a moment for large ones.

    Parameters
    ----------
    images : mapping from view to array, shape (h, w, 3), uint8, RGB
    looks : mapping from view to its solved mouths
    """
    found: dict[str, Laid] = {}
    for name, look in looks.items():
        mouths = {Layer.BEFORE: look.before}
        if look.after is not None:
            mouths[Layer.AFTER] = look.after
        pictures = {layer: Pyramid(mouth.laid_over(images[name])) for layer, mouth in mouths.items()}
        lines = tuple(_outlines(_COLOURS[layer], mouth) for layer, mouth in mouths.items())
        found[name] = Laid(pictures, lines)
    return found


def _outlines(colour: Colour, mouth: SolvedMouth) -> Outlines:
    return Outlines(
        colour, tuple(mouth.lines(Rim.UPPER, Rim.LOWER)), tuple(mouth.lines(Rim.GUM, Rim.LIP))
    )


def draw_outlines(brush: Brush, outlines: tuple[Outlines, ...]) -> None:
    """Draw the outlines: thick where they move with the teeth, thin where they stay."""
    for one in outlines:
        for line in one.still:
            brush.line([brush.at((float(x), float(y))) for x, y in line], one.colour, 1)
    for one in outlines:
        for line in one.own:
            places = [brush.at((float(x), float(y))) for x, y in line]
            brush.outlined(places, one.colour)


class Overlays:
    """Which of it is switched on, over all views of a frame."""

    def __init__(self) -> None:
        self._laid: Mapping[str, Laid] = {}
        self._coming: Later[dict[str, Laid]] | None = None
        self._made_of: object = None
        self.outlines_on = False
        self.layer = Layer.PHOTOGRAPH
        self.blinking, self.wiping = False, 0
        self._polls = 0

    @property
    def on(self) -> bool:
        """Whether anything is to be shown."""
        return self.outlines_on or self.blinking or bool(self.wiping) or self.layer is not Layer.PHOTOGRAPH

    def make(self, source: object, work: Callable[[], dict[str, Laid]]) -> None:
        """Start to render for a new answer; what was rendered before stays in sight until then."""
        if source is not self._made_of:
            self._made_of, self._coming = source, Later(work)

    def act(self, action: Action, view: str) -> str:
        """Switch; say what is seen now."""
        after = Layer.AFTER in self._laid[view].pictures if view in self._laid else True
        if action is Action.OUTLINE:
            self.outlines_on = not self.outlines_on
            return "outlines of the solved mouth " + ("shown" if self.outlines_on else "off")
        steps = [Layer.PHOTOGRAPH, Layer.BEFORE, *([Layer.AFTER] if after else [])]
        if action is Action.SHADED:
            self.blinking, self.wiping = False, 0
            at = steps.index(self.layer) if self.layer in steps else -1
            self.layer = steps[(at + 1) % len(steps)]
            return f"{_word(self.layer, after)} shown"
        if action is Action.BLINK:
            self.blinking, self.wiping, self._polls = not self.blinking, 0, 0
            self.layer = Layer.BEFORE if self.blinking else Layer.PHOTOGRAPH
            if not self.blinking:
                return "blinking off"
            return f"blinks between photograph{', before and after' if after else ' and solved mouth'}"
        self.blinking, self.layer = False, Layer.PHOTOGRAPH
        self.wiping = (self.wiping + 1) % (3 if after else 2)
        if not self.wiping:
            return "wipe off"
        left, right = self._sides(after)
        return f"wipe at the pointer: left {_word(left, after)}, right {_word(right, after)}"

    def poll(self) -> bool:
        """Take what is done rendering, and let the blinking go on; tell whether there is something new."""
        new = False
        if self._coming is not None and self._coming.finished:
            self._laid = self._coming.made or {}
            self._coming, new = None, True
        if self.blinking and self._laid:
            self._polls += 1
            if self._polls % BLINK_POLLS == 0:
                layers = [Layer.PHOTOGRAPH, *next(iter(self._laid.values())).pictures]
                at = layers.index(self.layer) if self.layer in layers else 0
                self.layer, new = layers[(at + 1) % len(layers)], True
        return new

    def shown(self, view: str, photograph: Pyramid, pointer_x: float | None) -> Overlay:
        """Give what is to be drawn over a view.

        Parameters
        ----------
        pointer_x : float or None, screen column of the pointer, for the wipe
        """
        if not self.on:
            return NO_OVERLAY
        laid = self._laid.get(view)
        if laid is None:
            why = "the solved mouth is being drawn" if self._coming else "no solved mouth in this picture"
            return Overlay(words=((why, BLACK),))
        outlines, after = laid.outlines if self.outlines_on else (), Layer.AFTER in laid.pictures
        if self.wiping and pointer_x is not None:
            sides = self._sides(after)
            left, right = (laid.pictures.get(side, photograph) for side in sides)
            pairs = zip(_SIDES, sides, strict=True)
            told = [(f"{at}: {_word(side, after)}", _COLOURS[side]) for at, side in pairs]
            return Overlay(left, right, round(pointer_x), outlines, tuple(told))
        told = []
        if self.blinking or self.layer is not Layer.PHOTOGRAPH:
            told.append((_word(self.layer, after), _COLOURS[self.layer]))
        layers = (Layer.BEFORE, Layer.AFTER)[: len(outlines)]
        told += [(f"outline: {_word(layer, after)}", _COLOURS[layer]) for layer in layers]
        return Overlay(laid.pictures.get(self.layer), None, None, outlines, tuple(told))

    def _sides(self, after: bool) -> tuple[Layer, Layer]:
        if not after:
            return Layer.PHOTOGRAPH, Layer.BEFORE
        return (Layer.BEFORE, Layer.AFTER) if self.wiping == 1 else (Layer.PHOTOGRAPH, Layer.AFTER)


def draw_wipe(pixels: Image, column: int) -> None:
    """Draw the edge of the wipe: a light line with dark rims, seen on teeth and in the dark."""
    for offset, colour in ((-1, BLACK), (0, WHITE), (1, BLACK)):
        if 0 <= column + offset < pixels.shape[1]:
            pixels[:, column + offset, :3] = colour
