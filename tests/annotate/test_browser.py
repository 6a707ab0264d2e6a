"""The emergency mode: the window in a headless browser, driven by the W3C WebDriver protocol."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from bite.annotate.drawing.screen import Screen
from bite.annotate.state.view import fit_view

ROOT = Path(__file__).parents[2]
PICTURE_PX = (810, 1080)


def missing() -> str:
    """Say what keeps this from running; empty when nothing does."""
    if importlib.util.find_spec("tornado") is None:
        return "needs tornado (pip install 'bite[browser]')"
    if not (shutil.which("chromedriver") and shutil.which("chromium")):
        return "needs chromium and chromedriver (Debian: chromium, chromium-driver)"
    return ""


pytestmark = pytest.mark.skipif(bool(missing()), reason=missing() or "-")


def wait_for(done: Callable[[], Any], what: str, seconds: float = 60.0) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := done():
            return found
        time.sleep(0.1)
    raise AssertionError(f"waited {seconds:g} s for {what}")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Driver:
    """A headless browser."""

    def __init__(self, folder: Path) -> None:
        port = free_port()
        self.server = subprocess.Popen(
            ["chromedriver", f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT
        )
        self.base = f"http://127.0.0.1:{port}"
        wait_for(self._ready, "chromedriver")
        options = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--window-size=1500,1000",
            f"--user-data-dir={folder}",
        ]
        wanted = {
            "capabilities": {
                "alwaysMatch": {"goog:chromeOptions": {"args": options, "binary": shutil.which("chromium")}}
            }
        }
        self.session = self.call("POST", "/session", wanted)["sessionId"]

    def _ready(self) -> bool:
        try:
            return bool(self.call("GET", "/status")["ready"])
        except (urllib.error.URLError, ConnectionError):
            return False

    def call(self, method: str, path: str, body: object = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(
            self.base + path, data, {"Content-Type": "application/json"}, method=method
        )
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.load(answer)["value"]

    def run(self, method: str, path: str, body: object = None) -> Any:
        return self.call(method, f"/session/{self.session}{path}", body)

    def script(self, code: str) -> Any:
        return self.run("POST", "/execute/sync", {"script": code, "args": []})

    def pointer(self, *steps: dict[str, object]) -> None:
        self.run(
            "POST", "/actions", {"actions": [{"type": "pointer", "id": "mouse", "actions": list(steps)}]}
        )

    def keys(self, text: str) -> None:
        steps = [{"type": kind, "value": key} for key in text for kind in ("keyDown", "keyUp")]
        self.run("POST", "/actions", {"actions": [{"type": "key", "id": "keyboard", "actions": steps}]})

    def close(self) -> None:
        try:
            self.run("DELETE", "")
        finally:
            self.server.terminate()
            self.server.wait(10)


@pytest.fixture
def driver(tmp_path: Path) -> Iterator[Driver]:
    browser = Driver(tmp_path / "profile")
    yield browser
    browser.close()


@contextmanager
def served(frame: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], list[str]]]:
    """Run the window in a browser's page; give the process and what it has told, and end it."""
    program = "import sys; from bite.cli import main; sys.exit(main())"
    arguments = ["annotate", str(frame), "--browser", *options, "--port", str(free_port())]
    process = subprocess.Popen(
        [sys.executable, "-c", program, *arguments],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    told: list[str] = []
    threading.Thread(target=lambda: told.extend(process.stderr or []), daemon=True).start()
    try:
        yield process, told
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


@pytest.mark.slow
def test_clicks_in_a_browser_reach_the_file(driver: Driver, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "demo_bite" / "tern", tmp_path / "tern")
    shutil.copy(ROOT / "demo_bite" / "bench-depth.device.toml", tmp_path)
    clicks = tmp_path / "tern" / "front.corners.json"
    clicks.unlink()
    with served(tmp_path / "tern" / "tern-a07.bite.toml", "--no-check") as (process, told):
        url = wait_for(
            lambda: re.search(r"http://127\.0\.0\.1:\d+/\w{24}/\d+", "".join(told)), "the address"
        ).group()
        assert "ssh -L" in wait_for(lambda: next((line for line in told if "ssh" in line), ""), "the tunnel")
        # without the secret path there is nothing to see
        with pytest.raises(urllib.error.HTTPError):
            urllib.request.urlopen(re.sub(r"/\w{24}/\d+$", "/1", url), timeout=10)
        driver.run("POST", "/url", {"url": url})
        find = "const c = [...document.querySelectorAll('canvas')].filter(c => c.width > 600);"
        size = wait_for(
            lambda: driver.script(
                find + "if (!c.length) return null; const r = c[0].getBoundingClientRect();"
                "return [r.left, r.top, c[0].width, c[0].height, window.devicePixelRatio]"
            ),
            "the canvas",
        )
        time.sleep(1.0)
        left, top, width, height, ratio = size
        assert ratio == 1
        # a click at the panel's foot gives the page the keyboard and sets nothing; F shows the whole picture
        driver.pointer(
            {"type": "pointerMove", "x": round(left + width - 20), "y": round(top + height - 60)},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        )
        driver.keys("f")
        time.sleep(1.0)
        view = fit_view(*PICTURE_PX, Screen(int(width), int(height)).picture)
        places = {"11d": (393.0, 633.0), "21d": (447.5, 630.0)}
        for count, (code, place) in enumerate(places.items(), 1):
            x, y = (round(v) for v in view.to_screen(place))
            driver.pointer(
                {"type": "pointerMove", "x": round(left + x), "y": round(top + y)},
                {"type": "pointerDown", "button": 0},
                {"type": "pointerUp", "button": 0},
            )
            points = wait_for(
                lambda n=count: (
                    (p := json.loads(clicks.read_text())["points"]) and len(p) == n and p
                    if clicks.exists()
                    else None
                ),
                f"{code} on disk",
            )
            # the page may place its canvas at a fraction of a pixel
            assert points[code]["x"] == pytest.approx(view.to_picture((x, y))[0], abs=1.0 / view.scale)
            assert points[code]["y"] == pytest.approx(view.to_picture((x, y))[1], abs=1.0 / view.scale)
        driver.keys("u")
        wait_for(
            lambda: json.loads(clicks.read_text())["points"]["21d"]["state"] == "unsure", "the state on disk"
        )
        driver.keys("q")
        assert process.wait(20) == 0


@pytest.mark.slow
def test_outlines_and_blinking_in_a_browser_for_a_stereo_pair(driver: Driver, tmp_path: Path) -> None:
    """The canvas changes by itself while it blinks; the page has no tool bar beside the window's own keys."""
    shutil.copytree(ROOT / "demo_bite" / "godwit", tmp_path / "godwit")
    shutil.copy(ROOT / "demo_bite" / "bench-depth.device.toml", tmp_path)
    find = "const c = [...document.querySelectorAll('canvas')].filter(c => c.width > 600);"
    look = (
        find + "if (!c.length) return null; const p = c[0].getContext('2d').getImageData("
        "0, 0, Math.floor(0.7 * c[0].width), c[0].height).data;"
        "let sum = 0, orange = 0; for (let i = 0; i < p.length; i += 4) { sum = (sum * 31 + p[i]) % 1000003;"
        "if (Math.abs(p[i] - 213) + Math.abs(p[i + 1] - 94) + p[i + 2] < 9) orange++; } return [sum, orange];"
    )
    with served(tmp_path / "godwit" / "godwit-e06.bite.toml") as (process, told):
        url = wait_for(lambda: re.search(r"http://127\.0\.0\.1:\d+/\w{24}/\d+", "".join(told)), "the address")
        driver.run("POST", "/url", {"url": url.group()})
        wait_for(lambda: driver.script(look), "the canvas")
        assert driver.script("return document.querySelectorAll('button').length") == 0
        rect = driver.script(find + "const r = c[0].getBoundingClientRect(); return [r.right, r.top];")
        driver.pointer(
            {"type": "pointerMove", "x": round(rect[0] - 20), "y": round(rect[1] + 350)},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        )

        def outlined() -> bool:
            # before the first answer the key says that there is none yet
            if driver.script(look)[1] < 300:
                driver.keys("o")
                time.sleep(1.5)
            return driver.script(look)[1] >= 300

        wait_for(outlined, "the outlines", 60)
        still = {driver.script(look)[0] for _ in range(4) if not time.sleep(0.4)}
        driver.keys("k")
        seen: set[int] = set()
        wait_for(lambda: seen.add(driver.script(look)[0]) or len(seen) >= 3, "the blinking")
        assert len(still) == 1
        driver.keys("q")
        assert process.wait(20) == 0
