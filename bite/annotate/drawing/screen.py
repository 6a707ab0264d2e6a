"""The whole screen as pixels: picture, marks, panel and loupe, redrawn only where something changed."""

from __future__ import annotations

from math import sqrt

import numpy as np

from bite.annotate.drawing.beside import beside_area, draw_beside
from bite.annotate.drawing.depth_layer import OPACITY, DepthLayer
from bite.annotate.drawing.depth_section import draw_bar, draw_section, section_area
from bite.annotate.drawing.draw_marks import (
    BLACK,
    WHITE,
    Brush,
    draw_aim,
    draw_clicks,
    draw_ghost_words,
    draw_ghosts,
    draw_sights,
)
from bite.annotate.drawing.draw_sheet import draw_sheet
from bite.annotate.drawing.lettering import Pixels, write_on_halo
from bite.annotate.drawing.loupe import Loupe, draw_cross_hair, draw_loupe, place_loupe
from bite.annotate.drawing.overlay import draw_outlines, draw_wipe
from bite.annotate.drawing.panel import draw_panel
from bite.annotate.drawing.pyramid import LIFT_WORDS, SURROUND, lift_in_place, lift_table
from bite.annotate.drawing.scene import Pointer, Scene
from bite.annotate.state.view import Area, ViewTransform

_PANEL_PX = 330
"""Screen pixels: its longest line of text (our choice)."""
_FULL_MARKS_SCALE = 2.0
"""Below this scale marks are drawn smaller, so that they do not bury the mouth."""


class Screen:
    """Draws scenes into the pixels of a canvas and says which areas changed.

    Parameters
    ----------
    width_px, height_px : int, physical pixels
    least_unit : float, the toolkit's own scale of the display
    """

    def __init__(self, width_px: int, height_px: int, *, least_unit: float = 1.0) -> None:
        self.width_px, self.height_px = width_px, height_px
        room = min(width_px / 1280, height_px / 800)
        # in tenths: toolkits state ratios such as 1.02 that nobody chose
        self.unit = round(float(np.clip(max(sqrt(room), least_unit * min(1.0, room)), 0.6, 3.0)), 1)
        panel = min(round(_PANEL_PX * self.unit), width_px // 2)
        self.picture = Area(0, 0, width_px - panel, height_px)
        self.panel = Area(width_px - panel, 0, width_px, height_px)
        self._base: Pixels = np.empty((self.picture.height, self.picture.width, 4), np.uint8)
        self._still: Pixels = np.zeros((height_px, width_px, 4), np.uint8)
        self._still[...] = (*SURROUND, 255)
        self._last: Scene | None = None
        self._table: Pixels | None = None
        self._loupe: Loupe | None = None
        self._plot: Area | None = None

    def paint(
        self, target: Pixels, scene: Scene, pointer: Pointer | None, *, whole: bool = False
    ) -> list[Area]:
        """Bring a canvas up to date.

        Parameters
        ----------
        target : array, shape (height, width, 4), the canvas's own pixels, as the last call left them
        scene : Scene
        pointer : Pointer or None, None where no loupe is wanted
        whole : bool, the canvas was lost: draw all of it

        Returns
        -------
        list of Area : what must be shown anew
        """
        last = self._last
        dirty = self._redo_picture(scene, last) + self._redo_panel(scene, last)
        self._last = scene
        loupe = None
        if pointer is not None and scene.sheet is None and self.picture.holds(pointer.screen):
            loupe = place_loupe(
                pointer.screen, pointer.picture, scene.view.scale, self.picture, unit=self.unit
            )
        if whole or last is None:
            dirty = [Area(0, 0, self.width_px, self.height_px)]
        old = self._loupe
        if old is not None and (loupe is None or loupe.area != old.area):
            dirty.append(old.area.within(self.picture))
        plot = None
        if loupe is not None and pointer is not None and scene.layer is not None:
            plot = section_area(self.picture, pointer.screen, self.unit)
        if self._plot is not None and plot != self._plot:
            dirty.append(self._plot)
        for area in dirty:
            rows, columns = slice(area.top, area.bottom), slice(area.left, area.right)
            target[rows, columns] = self._still[rows, columns]
        if loupe is not None and pointer is not None:
            self._draw_loupe(target, scene, loupe, pointer)
            dirty.append(loupe.area.within(self.picture))
            if plot is not None and scene.layer is not None:
                draw_section(target, plot, scene.layer, pointer.picture, unit=self.unit)
                dirty.append(plot)
        self._plot = plot
        self._loupe = loupe
        return _merged([area for area in dirty if area.width and area.height])

    def _redo_picture(self, scene: Scene, last: Scene | None) -> list[Area]:
        fresh = last is None or not scene.same_base(last)
        if fresh:
            self._lay_picture(scene)
            if scene.layer is not None:
                self._lay_depth(scene.layer, scene)
            self._table = lift_table(scene.lift, self._base)
            lift_in_place(self._base, self._table)
        elif last is not None and scene.same_marks(last):
            return []
        new = self._base.copy()
        self._draw_marks(new, scene)
        shown = self._still[:, : self.picture.right]
        area = self.picture if fresh else _difference(shown, new, self.picture)
        shown[...] = new
        return [area] if area.width else []

    def _draw_marks(self, pixels: Pixels, scene: Scene) -> None:
        brush = Brush(pixels, self.picture, scene.view, self._mark_unit(scene.view))
        plain = Brush(pixels, self.picture, scene.view, self.unit)
        draw_sights(plain, scene.sights, scene.other)
        draw_outlines(plain, scene.overlay.outlines)
        if scene.overlay.wipe_x is not None:
            draw_wipe(pixels, scene.overlay.wipe_x)
        # below the clicks: a solved corner must not bury the one that was clicked
        draw_ghosts(brush, scene.before, scene.after, names=True)
        draw_clicks(brush, scene.clicks, scene.ringed)
        if scene.aim is not None:
            draw_aim(plain, scene.aim)
        self._legend(plain, scene)
        if scene.sheet is not None:
            draw_sheet(pixels, self.picture, scene.sheet, unit=self.unit)

    def _legend(self, brush: Brush, scene: Scene) -> None:
        draw_ghost_words(brush, bool(scene.before), bool(scene.after))
        size = round(12 * self.unit)
        told = list(scene.overlay.words)
        told += [(LIFT_WORDS[scene.lift], BLACK)] if scene.lift else []
        if scene.layer is not None:
            told.append(("depth: bright is near, bare is no reading", BLACK))
            draw_bar(brush, scene.layer)
        for row, (line, colour) in enumerate(told):
            at = round(12 * self.unit), round((10 + 18 * row) * self.unit)
            write_on_halo(brush.target, line, at, size, colour, WHITE)
        zoom = scene.view.scale
        scale = f"{zoom:.2g} x" if zoom < 10 else f"{zoom:.0f} x"
        at = round(12 * self.unit), self.picture.height - round(24 * self.unit)
        write_on_halo(brush.target, scale, at, size, BLACK, WHITE)

    def _draw_loupe(self, target: Pixels, scene: Scene, loupe: Loupe, pointer: Pointer) -> None:
        draw_loupe(
            target, loupe, scene.picture, self._table, pointer.label, unit=self.unit, told=pointer.told
        )
        box = loupe.window
        part = target[box.top : box.bottom, box.left : box.right]
        brush = Brush(part, box, loupe.view, self.unit)
        draw_sights(brush, scene.sights, "")
        draw_clicks(brush, scene.clicks, None, names=False)
        draw_ghosts(brush, scene.before, scene.after)
        draw_cross_hair(target, loupe, unit=self.unit)

    def _lay_picture(self, scene: Scene) -> None:
        overlay = scene.overlay
        (overlay.shown or scene.picture).lay(self._base, scene.view, self.picture)
        if overlay.beyond is not None and overlay.wipe_x is not None:
            column = min(max(overlay.wipe_x, 0), self.picture.width)
            if column < self.picture.width:
                whole = self.picture
                area = Area(whole.left + column, whole.top, whole.right, whole.bottom)
                part = np.empty((area.height, area.width, 4), np.uint8)
                overlay.beyond.lay(part, scene.view, area)
                self._base[:, column:] = part

    def _lay_depth(self, layer: DepthLayer, scene: Scene) -> None:
        ratio = scene.picture.width_px / layer.pixels.shape[1]
        view = scene.view
        # centres of the layer's pixels: p = (p_layer + 0.5) * ratio - 0.5
        shift = view.scale * (0.5 * ratio - 0.5)
        own = ViewTransform(view.scale * ratio, view.shift_x + shift, view.shift_y + shift)
        over = np.empty_like(self._base)
        _lay_plain(layer.pixels, over, own, self.picture)
        cover = (over[:, :, 3:].astype(np.uint16) * round(256 * OPACITY)) >> 8
        part = self._base[:, :, :3]
        part[...] = (part * (255 - cover) + over[:, :, :3] * cover) // 255

    def _mark_unit(self, view: ViewTransform) -> float:
        return self.unit * float(np.clip(view.scale / _FULL_MARKS_SCALE, 0.55, 1.0))

    def _redo_panel(self, scene: Scene, last: Scene | None) -> list[Area]:
        beside = scene.beside
        same = last is not None and (beside.same(last.beside) if beside is not None else last.beside is None)
        if last is not None and last.panel == scene.panel and same:
            return []
        before = self._still[:, self.panel.left :].copy()
        column = self.panel
        if beside is not None:
            small = beside_area(self.panel)
            column = Area(column.left, column.top, column.right, small.top)
            draw_beside(self._still, small, beside, unit=self.unit)
        draw_panel(self._still, column, scene.panel, unit=self.unit)
        area = _difference(before, self._still[:, self.panel.left :], self.panel)
        return [area] if area.width else []


def _lay_plain(pixels: Pixels, target: Pixels, view: ViewTransform, area: Area) -> None:
    import cv2

    map_ = np.array(
        [[view.scale, 0.0, view.shift_x - area.left], [0.0, view.scale, view.shift_y - area.top]], dtype=float
    )
    size = (area.width, area.height)
    cv2.warpAffine(pixels, map_, size, dst=target, flags=cv2.INTER_NEAREST, borderValue=(0, 0, 0, 0))


def _difference(old: Pixels, new: Pixels, area: Area) -> Area:
    """Give the part of an area of the screen in which two versions of it differ; empty where none does."""
    mine = np.ascontiguousarray(old).view(np.uint32)[:, :, 0]
    differs = mine != np.ascontiguousarray(new).view(np.uint32)[:, :, 0]
    rows, columns = np.flatnonzero(differs.any(1)), np.flatnonzero(differs.any(0))
    if not rows.size:
        return Area(area.left, area.top, area.left, area.top)
    return Area(
        area.left + int(columns[0]),
        area.top + int(rows[0]),
        area.left + int(columns[-1]) + 1,
        area.top + int(rows[-1]) + 1,
    )


def _merged(areas: list[Area]) -> list[Area]:
    """Join areas where one rectangle costs no more than the two."""
    done: list[Area] = []
    for area in areas:
        for k, other in enumerate(done):
            both = other.joined(area)
            if both.width * both.height <= 1.15 * (area.width * area.height + other.width * other.height):
                done[k] = both
                break
        else:
            done.append(area)
    return done
