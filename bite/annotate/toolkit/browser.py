"""The window in a browser, for a machine without a desktop: Matplotlib's own small server.

An emergency mode: each change travels as a picture, so that moves are many times slower than in a desktop
window.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

from bite.annotate.toolkit.canvas import NoWindowError, quiet_settings

ADDRESS = "127.0.0.1"
PORT = 8988
"""Matplotlib's own default for this server."""
_TRIES = 20
"""Ports tried from there on (our choice)."""


def browser_canvas(
    title: str, size_px: tuple[int, int], *, port: int = PORT, tell: Callable[[str], None]
) -> tuple[Any, Callable[[], None], Callable[[], None]]:
    """Open an empty canvas that a browser on this machine shows.

    The server listens on the loopback address only, and under a path that nobody can guess: other accounts on
    the same machine could otherwise watch, and these are pictures of a face.

    Parameters
    ----------
    port : int, the first port that is tried
    tell : function that shows a line to the person

    Returns
    -------
    canvas, run, close : as `toolkit.open_canvas` gives them

    Raises
    ------
    NoWindowError
        Without the server library, or without a free port.
    """
    import secrets

    import matplotlib

    quiet_settings()
    try:
        import tornado.ioloop
    except ImportError:
        raise NoWindowError(
            "--browser needs tornado: install it with `pip install 'bite[browser]'`"
        ) from None
    matplotlib.use("WebAgg", force=True)
    matplotlib.rcParams.update(
        {
            "webagg.address": ADDRESS,
            "webagg.port": port,
            "webagg.port_retries": _TRIES,
            "webagg.open_in_browser": False,
        }
    )
    import matplotlib.pyplot as plt
    from matplotlib.backends import backend_webagg

    server: Any = backend_webagg.WebAggApplication
    # its page has a tool bar whatever the settings say: pan and zoom there would act beside the window's own
    tool_bar: Any = backend_webagg.FigureManagerWebAgg.ToolbarCls
    tool_bar.toolitems = []
    figure = plt.figure(num=title, figsize=(size_px[0] / 100, size_px[1] / 100), dpi=100)
    canvas: Any = figure.canvas
    canvas.set_capture_scroll(True)
    number = plt.get_fignums()[0]
    secret = "/" + secrets.token_hex(12)
    try:
        server.initialize(url_prefix=secret, address=ADDRESS)
    except (OSError, SystemExit) as error:
        plt.close(figure)
        raise NoWindowError(
            f"no port near {port} is free on {ADDRESS} ({error}); name another with --port"
        ) from None
    found = server.port

    def run() -> None:
        from contextlib import redirect_stdout

        url = f"http://{ADDRESS}:{found}{secret}/{number}"
        tell(f"open {url} in a browser on this machine; Q there or Ctrl+C here ends it")
        tell(
            f"from another machine, first: ssh -L {found}:{ADDRESS}:{found} THIS-MACHINE, "
            "then the same address there"
        )
        tell("a slow emergency mode; who has the address sees the picture, so pass it to nobody")
        with redirect_stdout(sys.stderr):
            server.start()

    def close() -> None:
        loop = tornado.ioloop.IOLoop.current()
        # the last picture and answer still go out
        loop.call_later(0.2, loop.stop)

    return canvas, run, close
