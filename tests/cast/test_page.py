"""The page in a real browser: opened from disk without a network, sorted, filtered, followed, printed."""

import base64
import json
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from itertools import pairwise

import pytest

SKIP = "needs chromium and chromedriver (Debian: chromium, chromium-driver)"
pytestmark = pytest.mark.skipif(
    shutil.which("chromium") is None or shutil.which("chromedriver") is None, reason=SKIP
)
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--window-size=1280,1200",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
CONTRAST = """
function lum(c){var m=c.match(/[\\d.]+/g).map(Number);if(m.length>3&&m[3]===0)return null;
 var l=m.slice(0,3).map(function(v){v/=255;return v<=0.03928?v/12.92:Math.pow((v+0.055)/1.055,2.4);});
 return 0.2126*l[0]+0.7152*l[1]+0.0722*l[2];}
var worst=99;document.querySelectorAll('body *').forEach(function(e){
 if(!e.textContent.trim()||e.tagName==='SCRIPT'||!e.getClientRects().length)return;
 var fore=lum(getComputedStyle(e).color),p=e,back=null;
 while(p&&back===null){back=lum(getComputedStyle(p).backgroundColor);p=p.parentElement;}
 if(back===null)back=1;
 worst=Math.min(worst,(Math.max(fore,back)+0.05)/(Math.min(fore,back)+0.05));});
return worst;"""


class Browser:
    """The few calls of the WebDriver protocol that are needed, as plain JSON."""

    def __init__(self, base: str, profile: str) -> None:
        self.base = base
        args = [*FLAGS, f"--user-data-dir={profile}"]
        wanted = {
            "goog:chromeOptions": {"args": args, "binary": shutil.which("chromium")},
            "goog:loggingPrefs": {"browser": "ALL"},
        }
        made = self.call("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.base = f"{base}/session/{made['sessionId']}"

    def call(self, method: str, path: str, body: object = None):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"})
        request.method = method
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.loads(answer.read())["value"]

    def run(self, script: str):
        return self.call("POST", "/execute/sync", {"script": script, "args": []})


@pytest.fixture(scope="module")
def browser(done, tmp_path_factory):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    driver = subprocess.Popen(
        [shutil.which("chromedriver"), f"--port={port}"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    base = f"http://127.0.0.1:{port}"
    try:
        for _ in range(200):
            try:
                urllib.request.urlopen(f"{base}/status", timeout=5).close()
                break
            except (urllib.error.URLError, OSError):
                time.sleep(0.05)
        found = Browser(base, str(tmp_path_factory.mktemp("profile")))
        yield found
        found.call("DELETE", "")
    finally:
        driver.terminate()
        driver.wait()


@pytest.fixture
def page(browser, done):
    browser.call("POST", "/url", {"url": (done[0] / "cast.html").as_uri()})
    return browser


def names(page):
    return page.run(
        "return [...document.querySelectorAll('#all tbody tr')].filter(r=>!r.hidden)"
        ".map(r=>r.cells[0].textContent.trim())"
    )


def test_no_console_error_and_nothing_of_a_file_runs(page):
    assert [e for e in page.call("POST", "/se/log", {"type": "browser"}) if e["level"] == "SEVERE"] == []
    assert page.run("return document.scripts.length") == 1
    assert page.run("return document.querySelectorAll('img:not([src^=\"data:\"])').length") == 0
    assert page.run("return document.querySelector('h1').textContent") == "=1+1 <script>alert(1)</script>"
    assert "onerror" in page.run("return document.body.textContent")


def test_sorts_rising_and_falling(page):
    assert names(page) == ["tern-a07", "whimbrel-a02"]
    page.run("document.querySelector('#all thead th button').click()")
    page.run("document.querySelector('#all thead th button').click()")
    assert names(page) == ["whimbrel-a02", "tern-a07"]
    assert (
        page.run("return document.querySelector('#all thead th').getAttribute('aria-sort')") == "descending"
    )
    assert "falling" in page.run("return document.getElementById('said').textContent")


def test_filters_by_verdict_and_odd_performer(page):
    choose = "var s=document.querySelector('select[name={}]');s.value={};s.dispatchEvent(new Event('change'))"
    page.run(choose.format("verdict", "'leave'"))
    assert names(page) == ["tern-a07"]
    page.run(choose.format("verdict", "''"))
    page.run(choose.format("performer", "'=SUM(A1) & b'"))
    assert names(page) == ["whimbrel-a02"]
    assert page.run("return document.getElementById('shown').textContent") == "1 of 2 frames shown"


def test_every_link_leads_somewhere(page):
    lost = "return [...document.querySelectorAll('a[href]')].filter(a=>!document.getElementById("
    assert page.run(lost + "a.getAttribute('href').slice(1))).length") == 0
    page.run("document.querySelector('#all tbody a').click()")
    assert page.run("return document.activeElement.id || location.hash.slice(1)") == "frame-tern-a07"


def test_prints_to_pdf(page):
    pdf = base64.b64decode(page.call("POST", "/print", {}))
    assert pdf.startswith(b"%PDF") and pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") >= 2


def test_a_tired_reader_with_a_keyboard_or_a_screen_reader_is_served(page):
    levels = page.run("return [...document.querySelectorAll('h1,h2,h3')].map(h=>+h.tagName[1])")
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert page.run("return [...document.images].every(i=>i.alt.length>20&&/\\d|not measured/.test(i.alt))")
    assert page.run("return [...document.querySelectorAll('th')].every(h=>h.scope)")
    assert page.run("return [...document.querySelectorAll('select')].every(s=>s.labels.length===1)")
    assert page.run("return [...document.querySelectorAll('table')].every(t=>t.caption)")
    assert (
        page.run(
            'return document.querySelectorAll(\'[tabindex]:not([tabindex="0"]):not([tabindex="-1"])\').length'
        )
        == 0
    )
    ids = page.run("return [...document.querySelectorAll('[id]')].map(e=>e.id)")
    assert len(ids) == len(set(ids))
    # WCAG 2.1 asks for 4.5 to 1
    assert page.run(CONTRAST) >= 4.5


def test_it_reads_without_scripts_and_keeps_its_size(done):
    text = (done[0] / "cast.html").read_text(encoding="utf-8")
    plain = text.partition("<script>")[0]
    assert "tern-a07" in plain and "default-src &#39;none&#39;" in text
    assert text.count("http://") + text.count("https://") == 0
    assert len(text) < 200_000 * 2
