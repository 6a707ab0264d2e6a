"""The window: a Matplotlib canvas whose pixels the screen writes, and whose events go to the workbench.

Works on any canvas with an Agg buffer: Tk, Qt, the browser, or none at all (tests).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from bite.annotate.drawing.lettering import Pixels
from bite.annotate.sitting import Sitting
from bite.annotate.state.keys import Action, action_of
from bite.annotate.state.view import Area, Point
from bite.annotate.toolkit.meanwhile import Meanwhile
from bite.annotate.workbench import Workbench

_POLLS_OF_A_BROWSER = 3
"""Looks of the timer until what a browser sent meanwhile has come in: it cannot be asked (our choice)."""
POLL_MS = 100
"""How often the window looks for what is to be told or saved: less than a hand notices (our choice)."""
_LEFT, _MIDDLE, _RIGHT = 1, 2, 3
"""Numbers of the mouse's buttons in matplotlib."""


class Window:
    """One annotation in one canvas.

    Parameters
    ----------
    canvas : a Matplotlib canvas with an Agg buffer
    bench : Workbench
    close : function that closes the canvas's window
    sitting : Sitting, optional, the frames that ``bench`` is one of
    """

    def __init__(
        self,
        canvas: Any,
        bench: Workbench,
        *,
        close: Callable[[], None] = lambda: None,
        sitting: Sitting | None = None,
    ) -> None:
        self._canvas, self._bench, self._close, self._sitting = canvas, bench, close, sitting
        self._changing_frame, self._held_polls = False, 0
        self._meanwhile = Meanwhile()
        self._size: tuple[int, int] | None = None
        kind = type(canvas).__name__
        self._in_browser, self._in_tk = kind.startswith("FigureCanvasWeb"), kind.startswith("FigureCanvasTk")
        for name, handler in (
            ("draw_event", self._on_draw),
            ("button_press_event", self._on_press),
            ("button_release_event", self._on_release),
            ("motion_notify_event", self._on_move),
            ("figure_leave_event", self._on_leave),
            ("scroll_event", self._on_scroll),
            ("key_press_event", self._on_key),
            ("close_event", self._on_close),
        ):
            canvas.mpl_connect(name, self._guarded(handler))
        self._timer = canvas.new_timer(interval=POLL_MS)
        self._timer.add_callback(self.poll)
        self._timer.start()

    def poll(self) -> bool:
        """Show a finished answer; called by the toolkit's own timer. True keeps the timer going."""
        if self._changing_frame:
            if self._held_polls:
                self._held_polls -= 1
                if not self._held_polls:
                    self._catch_up()
            return True
        if self._bench.poll():
            if self._sitting is not None:
                self._sitting.refresh()
            self.repaint()
        return True

    def repaint(self) -> None:
        """Bring the canvas up to date and show what changed."""
        if self._size is None:
            self._canvas.draw()
            return
        self._show(self._paint(whole=False))

    def _guarded(self, handler: Callable[[Any], None]) -> Callable[[Any], None]:
        """Leave events alone once the window closes, for toolkits still send some; let others wait."""

        def handle(event: Any) -> None:
            if self._bench.closing and event.name != "close_event":
                return
            if self._changing_frame and event.name not in ("close_event", "draw_event"):
                self._meanwhile.note(event)
                return
            handler(event)

        return handle

    def _on_draw(self, event: Any) -> None:
        """Fill the canvas's fresh buffer: after opening, resizing, or whatever else made the toolkit draw."""
        size = self._canvas.get_width_height(physical=True)
        if size != self._size:
            self._size = size
            self._bench.resize(*size, least_unit=float(self._canvas.device_pixel_ratio))
        self._paint(whole=True)

    def _on_press(self, event: Any) -> None:
        if event.dblclick and self._in_browser:
            # a browser reports a double click on top of its two clicks
            return
        at = self._place(event)
        shift = event.key == "shift"
        if event.button in (_MIDDLE, _RIGHT) or (event.button == _LEFT and shift):
            self._bench.press_pan(at)
        elif event.button == _LEFT:
            self._bench.press(at)
        self._after_change()

    def _on_release(self, event: Any) -> None:
        self._bench.release()
        self._after_change()

    def _on_move(self, event: Any) -> None:
        buttons = getattr(event, "buttons", None)
        if buttons is not None and not buttons:
            # the release went to another window
            self._bench.release()
        self._bench.move(self._place(event))
        self.repaint()

    def _on_leave(self, event: Any) -> None:
        self._bench.move(None)
        self.repaint()

    def _on_scroll(self, event: Any) -> None:
        self._bench.wheel(self._place(event), float(event.step))
        self.repaint()

    def _on_key(self, event: Any) -> None:
        action = action_of(event.key)
        if action is not None:
            self._act(action)

    def _act(self, action: Action) -> None:
        self._bench.act(action)
        if self._bench.closing:
            self._bench.settle()
            self._close()
            return
        self._after_change()

    def _on_close(self, event: Any) -> None:
        self._timer.stop()
        self._bench.closing = True
        self._bench.finish()

    def _after_change(self) -> None:
        """Show the change first, then make it safe: the eye waits for the one and not for the other."""
        if self._sitting is not None:
            self._sitting.refresh()
            if self._bench.wanted is not None:
                self._change_frame(self._sitting)
                return
        self.repaint()
        before = self._bench.save_status
        self._bench.settle()
        if self._bench.save_status != before:
            self.repaint()

    def _change_frame(self, sitting: Sitting) -> None:
        """Put another frame on the bench; reading it may take seconds, so that is said first."""
        self._bench.desk.said = "opening the other frame: keys wait for it"
        self.repaint()
        self._changing_frame = True
        try:
            # only now the words above are on the screen
            self._canvas.flush_events()
            changed = sitting.follow()
        except BaseException:
            self._changing_frame = False
            raise
        if changed:
            self._bench = sitting.bench
            if self._size is not None:
                self._bench.resize(*self._size, least_unit=float(self._canvas.device_pixel_ratio))
            self._canvas.draw()
            self._show([Area(0, 0, *(self._size or (0, 0)))])
        else:
            self.repaint()
        # what came while the frame was being read lies in the toolkit's queue, or on its way from the browser
        self._canvas.flush_events()
        if self._in_browser:
            self._held_polls = _POLLS_OF_A_BROWSER
        else:
            self._catch_up()

    def _catch_up(self) -> None:
        """Obey the keys that were typed while a frame was being read; say that clicks were not taken."""
        self._changing_frame = False
        while not self._bench.closing and not self._changing_frame:
            if steps := self._meanwhile.frame_steps():
                self._bench.step_frames(steps)
                self._after_change()
            elif (action := self._meanwhile.next_action()) is not None:
                self._act(action)
            else:
                if lost := self._meanwhile.lost_clicks():
                    self._bench.desk.said = lost
                    self.repaint()
                return

    def _place(self, event: Any) -> Point:
        """Give the screen place of an event: the centre of the pixel under it, y down from the top row."""
        height = self._canvas.get_width_height(physical=True)[1]
        # events name a logical pixel's corner: its middle is half a logical pixel on, less half a physical
        middle = self._middle_of_event()
        return float(event.x) + middle, float(height - event.y) + middle

    def _middle_of_event(self) -> float:
        # Tk reports physical pixels themselves, whatever ratio it states
        return 0.0 if self._in_tk else (float(self._canvas.device_pixel_ratio) - 1.0) / 2.0

    def _paint(self, *, whole: bool) -> list[Area]:
        target: Pixels = np.asarray(self._canvas.buffer_rgba())
        bench = self._bench
        return bench.screen.paint(target, bench.scene(), bench.loupe_pointer(), whole=whole)

    def _show(self, areas: list[Area]) -> None:
        from matplotlib.transforms import Bbox

        height = self._canvas.get_width_height(physical=True)[1]
        for area in areas:
            self._canvas.blit(Bbox([[area.left, height - area.bottom], [area.right, height - area.top]]))
