"""A real browser driven by the few calls of the WebDriver protocol that are needed, as plain JSON."""

from __future__ import annotations

import base64
import json
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

SKIP = "needs chromium and chromedriver (Debian: chromium, chromium-driver)"
TAB, ENTER, CONTROL, HOME, RIGHT = "\ue004", "\ue007", "\ue009", "\ue011", "\ue014"
_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--window-size=1280,1200",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
_ELEMENT = "element-6066-11e4-a52e-4f735466cecf"


def is_there() -> bool:
    """Tell whether the browser and its driver are installed."""
    return shutil.which("chromium") is not None and shutil.which("chromedriver") is not None


class Browser:
    """One session; nothing outside the files on disk can be reached from it."""

    def __init__(self, base: str, profile: str, *, scripts: bool) -> None:
        self.base = base
        preferences = {} if scripts else {"profile.managed_default_content_settings.javascript": 2}
        options = {
            "args": [*_FLAGS, f"--user-data-dir={profile}"],
            "binary": shutil.which("chromium"),
            "prefs": preferences,
        }
        wanted = {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
        made = self.call("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.base = f"{base}/session/{made['sessionId']}"

    def call(self, method: str, path: str, body: object = None) -> Any:
        """Make one call of the protocol."""
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"})
        request.method = method
        try:
            with urllib.request.urlopen(request, timeout=120) as answer:
                return json.loads(answer.read())["value"]
        except urllib.error.HTTPError as error:
            raise RuntimeError(error.read().decode("utf-8", "replace")[:2000]) from None

    def open(self, path: Path) -> None:
        """Load a file of the disk."""
        self.call("POST", "/url", {"url": path.as_uri()})

    def run(self, script: str) -> Any:
        """Run a script's text as a function's body; its answer."""
        return self.call("POST", "/execute/sync", {"script": script, "args": []})

    def wait_for(self, script: str) -> Any:
        """Run a script that calls its last argument with the answer."""
        return self.call("POST", "/execute/async", {"script": script, "args": []})

    def click(self, selector: str) -> None:
        """Click on the first element that a selector finds, as a hand would."""
        found = self.call("POST", "/element", {"using": "css selector", "value": selector})
        self.call("POST", f"/element/{found[_ELEMENT]}/click", {})

    def press(self, *keys: str) -> None:
        """Press keys together, as a hand would, and let go."""
        steps = [{"type": "keyDown", "value": key} for key in keys]
        steps += [{"type": "keyUp", "value": key} for key in reversed(keys)]
        hands = {"actions": [{"type": "key", "id": "keyboard", "actions": steps}]}
        self.call("POST", "/actions", hands)

    def pasted(self) -> str:
        """Give what the clipboard holds, by pasting it into a field."""
        self.run("var a=document.createElement('textarea');a.id='paste';document.body.prepend(a);a.focus();")
        self.press(CONTROL, "v")
        return str(self.run("var a=document.getElementById('paste'),t=a.value;a.remove();return t"))

    def screenshot(self, width: int, height: int) -> bytes:
        """Take a picture of the page in a viewport of this size."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.cdp("Emulation.setDeviceMetricsOverride", size)
        try:
            return base64.b64decode(self.call("GET", "/screenshot"))
        finally:
            self.cdp("Emulation.clearDeviceMetricsOverride", {})

    def cdp(self, command: str, parameters: dict[str, object]) -> Any:
        """Make one call that only this browser knows."""
        return self.call("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})


def printed(page: Path, folder: Path) -> bytes:
    """Print a file of the disk to a PDF, as the print dialogue does; the driver would give it ten seconds."""
    paper = folder / "printed.pdf"
    command = [str(shutil.which("chromium")), *_FLAGS, f"--user-data-dir={folder / 'profile'}"]
    command += ["--no-pdf-header-footer", f"--print-to-pdf={paper}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=600)
    return paper.read_bytes()


@contextmanager
def driven(profile: Path, *, scripts: bool = True) -> Iterator[Browser]:
    """Start a driver and a browser, and end both."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    driver = subprocess.Popen(
        [str(shutil.which("chromedriver")), f"--port={port}"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    base = f"http://127.0.0.1:{port}"
    try:
        for _ in range(400):
            try:
                urllib.request.urlopen(f"{base}/status", timeout=5).close()
                break
            except (urllib.error.URLError, OSError):
                time.sleep(0.05)
        found = Browser(base, str(profile), scripts=scripts)
        try:
            yield found
        finally:
            found.call("DELETE", "")
    finally:
        driver.terminate()
        driver.wait()
