"""Text as coverage masks, letter by letter from Matplotlib's own renderer, kept once made."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]
_FAMILY = ["DejaVu Sans"]


def colour_of(code: str) -> Colour:
    """Turn "#rrggbb" into three numbers.

    Examples
    --------
    >>> colour_of("#0072B2")
    (0, 114, 178)
    """
    return int(code[1:3], 16), int(code[3:5], 16), int(code[5:7], 16)


@lru_cache(maxsize=4096)
def text_mask(text: str, size_px: int, bold: bool = False) -> Pixels:
    """Give the coverage of one line of text, shape (height, width), 0 to 255.

    Letters are drawn one by one and kept, so that a new number costs no layout; kerning is left out.
    """
    mask = np.zeros((line_height(size_px), text_width(text, size_px, bold) + 4), np.uint8)
    along = 1.0
    for letter in text:
        glyph = _glyph(letter, size_px, bold)
        left = round(along) - 1
        part = mask[:, max(0, left) : left + glyph.shape[1]]
        cut = glyph[:, glyph.shape[1] - part.shape[1] :] if left < 0 else glyph[:, : part.shape[1]]
        np.maximum(part, cut, out=part)
        along += _advance(letter, size_px, bold)
    mask.setflags(write=False)
    return mask


def text_width(text: str, size_px: int, bold: bool = False) -> int:
    """Give the width of one line of text, px."""
    return int(np.ceil(sum(_advance(letter, size_px, bold) for letter in text)))


@lru_cache(maxsize=2048)
def _glyph(letter: str, size_px: int, bold: bool) -> Pixels:
    from matplotlib.backends.backend_agg import RendererAgg

    height, baseline = line_height(size_px), int(np.ceil(size_px * 1.06))
    make: Any = RendererAgg
    renderer = make(int(np.ceil(_advance(letter, size_px, bold))) + 4, height, 72)
    gc = renderer.new_gc()
    gc.set_foreground("black")
    renderer.draw_text(gc, 1, baseline, letter, _properties(size_px, bold), 0.0)
    gc.restore()
    return np.array(np.asarray(renderer.buffer_rgba())[:, :, 3])


@lru_cache(maxsize=2048)
def _advance(letter: str, size_px: int, bold: bool) -> float:
    """Give how far a letter moves the pen, px: between two others, since alone only its ink is measured."""
    from matplotlib.backends.backend_agg import RendererAgg

    renderer: Any = _measuring(RendererAgg)

    def wide(text: str) -> float:
        return float(renderer.get_text_width_height_descent(text, _properties(size_px, bold), False)[0])

    return wide(f"|{letter}|") - wide("||")


@lru_cache(maxsize=1)
def _measuring(make: Any) -> Any:
    return make(8, 8, 72)


@lru_cache(maxsize=64)
def _properties(size_px: int, bold: bool) -> Any:
    from matplotlib.font_manager import FontProperties

    # at 72 dots an inch a point is a pixel
    return FontProperties(family=_FAMILY, size=size_px, weight="bold" if bold else "normal")


def line_height(size_px: int) -> int:
    """Give the distance between lines of text, px."""
    return int(np.ceil(size_px * 1.36))


def write(
    target: Pixels, text: str, at: tuple[int, int], size_px: int, colour: Colour, *, bold: bool = False
) -> int:
    """Write one line, its top left at a place; what does not fit is cut. Give its width, px."""
    if not text:
        return 0
    mask = text_mask(text, size_px, bold)
    stamp(target, mask, at, colour)
    return int(mask.shape[1])


def write_on_halo(
    target: Pixels, text: str, at: tuple[int, int], size_px: int, colour: Colour, halo: Colour
) -> tuple[int, int]:
    """Write one line with a rim around its letters, to be read on any picture. Give its size, px."""
    mask, rim = text_mask(text, size_px, True), _rim(text, size_px)
    reach = (rim.shape[0] - mask.shape[0]) // 2
    stamp(target, rim, (at[0] - reach, at[1] - reach), halo)
    stamp(target, mask, at, colour)
    return int(mask.shape[1]), int(mask.shape[0])


@lru_cache(maxsize=512)
def _rim(text: str, size_px: int) -> Pixels:
    import cv2

    reach = max(2, round(size_px / 6))
    wide = np.pad(text_mask(text, size_px, True), reach)
    return np.asarray(
        cv2.dilate(wide, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)), np.uint8
    )


def stamp(target: Pixels, mask: Pixels, at: tuple[int, int], colour: Colour) -> None:
    """Lay a colour over a picture (height, width, 4) through a mask, its top left at a place."""
    left, top = at
    x0, y0 = max(0, left), max(0, top)
    x1, y1 = min(target.shape[1], left + mask.shape[1]), min(target.shape[0], top + mask.shape[0])
    if x0 >= x1 or y0 >= y1:
        return
    cover = mask[y0 - top : y1 - top, x0 - left : x1 - left, None].astype(np.uint16)
    part = target[y0:y1, x0:x1, :3]
    part[...] = (part * (255 - cover) + np.array(colour, np.uint16) * cover + 127) // 255


def wrapped(text: str, width_px: int, size_px: int, *, bold: bool = False) -> list[str]:
    """Break text into lines that fit a width; a word that is too long stands alone.

    Examples
    --------
    >>> wrapped("upper big front tooth", 80, 12)
    ['upper big', 'front tooth']
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size_px, bold) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
