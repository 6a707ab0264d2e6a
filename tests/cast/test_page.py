"""The page in a real browser, opened from disk without a network: sorted, filtered, copied, printed."""

import re
import time
import zipfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from urllib.parse import unquote, urlparse

import numpy as np
import pytest

from bite.cast.run import Rows, cast_content, frames_of, run_frames
from bite.cast.runner.settings import CastSettings
from bite.cast.sheets.page import page_pieces
from bite.files.atomic import write_pieces
from bite.files.cast import read_cast
from tests.cast.browser import ENTER, HOME, RIGHT, SKIP, TAB, driven, is_there, printed

pytestmark = [pytest.mark.slow, pytest.mark.skipif(not is_there(), reason=SKIP)]
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
AXE = """
var done=arguments[arguments.length-1];
axe.run(document,{runOnly:['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','best-practice']}).then(function(r){
 done({tried:r.passes.length,found:r.violations.map(function(v){
  return v.id+': '+v.help+': '+v.nodes.map(function(n){return n.html.slice(0,120)}).join(' | ')})});
},function(e){done({tried:0,found:[String(e)]})});"""
"""Runs the rules of axe-core for WCAG 2.2 AA and its best practices."""
PLACE = """
var e=document.activeElement;if(!e||e===document.body)return null;
var b=e.getBoundingClientRect(),s=getComputedStyle(e);
return {tag:e.tagName.toLowerCase(),name:(e.getAttribute('aria-label')||e.textContent||
  (e.labels&&e.labels[0]?e.labels[0].textContent:'')).trim().slice(0,60),
 top:b.top+scrollY,seen:b.width>0&&b.height>0&&b.bottom>0&&b.top<innerHeight,
 outline:s.outlineStyle!=='none'&&parseFloat(s.outlineWidth)>=2,id:e.id,
 order:[...document.querySelectorAll('*')].indexOf(e)};"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    with driven(tmp_path_factory.mktemp("profile")) as found:
        yield found


def test_beyond_so_many_frames_pictures_are_linked_and_not_in_the_page(small, tmp_path, monkeypatch, browser):
    """Those that speak for their performers are shown; the rest lead to the check's own picture."""
    monkeypatch.setattr("bite.cast.sheets.page.MOST_PICTURED", 2)
    cast = read_cast(small / "cast.toml")
    settings = CastSettings(
        cast.tolerance_mm, cast.performance_device, cast.devices, small, None, small / ".bite-cast"
    )
    rows = run_frames(frames_of(cast, settings), settings, jobs=1, told=lambda _: None)
    content = cast_content(cast, rows, settings)
    path = tmp_path / "a place" / "cast.html"
    path.parent.mkdir()
    write_pieces(path, page_pieces(content, path.parent))
    browser.open(path)
    shown = browser.run(
        "return [...document.querySelectorAll('article')].map(a => ["
        "a.querySelectorAll('.check img').length, a.querySelectorAll('.pair img').length > 0,"
        "[...a.querySelectorAll('p a')].map(l => l.href).filter(h => h.endsWith('.png'))])"
    )
    speak = {answer.frame.name for answer in content.answers if answer.frame}
    assert len(shown) == len(content.rows) > 2
    assert sum(count for count, _, _ in shown) == 2
    for row, (count, mouths, links) in zip(content.rows, shown, strict=True):
        assert bool(count) == mouths == (not links)
        assert row.name in speak or not count or len(speak) < 2
        for link in links:
            assert Path(unquote(urlparse(link).path)).is_file(), link
    assert "Pictures of 2 of" in browser.run("return document.body.textContent")


@pytest.fixture
def page(browser, done):
    browser.open(done[0] / "cast.html")
    return browser


@pytest.fixture(scope="module")
def many(small, tmp_path_factory):
    """Write the page of a cast of 60 frames, out of six."""
    cast = read_cast(small / "cast.toml")
    settings = CastSettings(
        cast.tolerance_mm, cast.performance_device, cast.devices, small, None, small / ".bite-cast"
    )
    rows = run_frames(frames_of(cast, settings), settings, jobs=1, told=lambda _: None).rows
    rows = [replace(row, name=f"{row.name}-{k:02d}") for k in range(10) for row in rows]
    path = tmp_path_factory.mktemp("many") / "cast.html"
    write_pieces(path, page_pieces(cast_content(cast, Rows(tuple(rows), ()), settings), path.parent))
    return path


def said_copied(browser, number):
    """Wait until a button says so: the clipboard answers in its own time."""
    until = time.monotonic() + 20.0
    while time.monotonic() < until:
        if browser.run(f"return document.querySelectorAll('button.copy')[{number}].textContent") == "Copied":
            return True
        time.sleep(0.05)
    return False


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
    page.click("#all thead th button")
    page.click("#all thead th button")
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


def test_a_name_is_searched_and_pictures_follow(page):
    find = "var i=document.querySelector('input[name=name]');i.value={!r};i.dispatchEvent(new Event('input'))"
    seen = "[...document.querySelectorAll('article')].filter(a=>!a.hidden)"
    articles = f"return {seen}.map(a=>a.querySelector('h3').id)"
    page.run(find.format("TERN-a"))
    assert names(page) == ["tern-a07"] and page.run(articles) == ["frame-tern-a07"]
    page.run(find.format("sum(a1)"))
    assert names(page) == ["whimbrel-a02"] and page.run(articles) == ["frame-whimbrel-a02"]
    # a link to a frame that is filtered away brings it back
    page.run("location.hash='frame-tern-a07'")
    assert page.run(articles) == ["frame-tern-a07", "frame-whimbrel-a02"]
    page.run(find.format("no such name"))
    assert names(page) == [] and page.run(articles) == []


def test_sorts_by_sd(browser, small):
    browser.open(small / "cast.html")
    heads = browser.run("return [...document.querySelectorAll('#all thead th')].map(h=>h.dataset.word)")
    browser.click(f"#all thead th:nth-child({heads.index('sd, mm') + 1}) button")
    cell = f"Number(r.cells[{heads.index('sd, mm')}].dataset.sort)"
    told = browser.run(f"return [...document.querySelectorAll('#all tbody tr')].map(r=>{cell})")
    assert told == sorted(told) and len(set(told)) > 3


def test_a_keyboard_wipes_between_before_and_after(browser, small):
    browser.open(small / "cast.html")
    assert browser.run("return document.querySelectorAll('.pair.wipe input[type=range]').length") == 6
    cut = "return document.querySelector('.pair.wipe').style.getPropertyValue('--cut')"
    browser.run("document.querySelector('.pair.wipe input').focus()")
    assert browser.run(cut) == "50%"
    browser.press(RIGHT)
    browser.press(RIGHT)
    assert browser.run(cut) == "52%"
    browser.press(HOME)
    assert browser.run(cut) == "0%"
    wipe = "document.querySelector('.pair.wipe input')"
    assert "before" in browser.run(f"return {wipe}.getAttribute('aria-valuetext')")
    # both pictures lie exactly over each other
    lies = "['left','top','width','height'].every(k=>a[k]===b[k])"
    boxes = "var [a,b]=[...document.querySelectorAll('.pair.wipe img')].map(i=>i.getBoundingClientRect());"
    assert browser.run(f"{boxes}return {lies}")


def test_dark_where_the_reader_asks_for_it(browser, small):
    dark = {"features": [{"name": "prefers-color-scheme", "value": "dark"}]}
    browser.cdp("Emulation.setEmulatedMedia", dark)
    try:
        browser.open(small / "cast.html")
        paper = "getComputedStyle(document.body).backgroundColor.match(/\\d+/g).map(Number)"
        assert max(browser.run(f"return {paper}")) < 60
        assert browser.run(CONTRAST) >= 4.5
    finally:
        browser.cdp("Emulation.setEmulatedMedia", {"features": []})


def test_every_link_leads_somewhere(page):
    lost = "return [...document.querySelectorAll('a[href]')].filter(a=>!document.getElementById("
    assert page.run(lost + "a.getAttribute('href').slice(1))).length") == 0
    page.click("#all tbody a")
    assert page.run("return document.activeElement.id || location.hash.slice(1)") == "frame-tern-a07"


@pytest.mark.parametrize("which", ["done", "small"])
def test_rules_of_accessibility_hold(browser, fetch_wheel, request, which):
    wheel = fetch_wheel("axe-playwright-python==0.1.8")
    rules = zipfile.ZipFile(wheel).read("axe_playwright_python/axe.min.js").decode("utf-8")
    folder = request.getfixturevalue(which)
    browser.open((folder[0] if which == "done" else folder) / "cast.html")
    browser.run(rules)
    told = browser.wait_for(AXE)
    assert told["found"] == [] and told["tried"] > 20


def test_the_rules_find_a_fault(browser, done, fetch_wheel):
    wheel = fetch_wheel("axe-playwright-python==0.1.8")
    browser.open(done[0] / "cast.html")
    browser.run("document.images[0].removeAttribute('alt');document.documentElement.removeAttribute('lang')")
    browser.run(zipfile.ZipFile(wheel).read("axe_playwright_python/axe.min.js").decode("utf-8"))
    assert {line.partition(":")[0] for line in browser.wait_for(AXE)["found"]} >= {
        "image-alt",
        "html-has-lang",
    }


def test_headings_texts_of_pictures_and_contrast(page):
    levels = page.run("return [...document.querySelectorAll('h1,h2,h3')].map(h=>+h.tagName[1])")
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    told = "i=>i.alt.length>20&&/\\d|not measured/.test(i.alt)"
    # a thumbnail stands beside the name that it would repeat
    assert page.run(f"return [...document.images].filter(i=>i.className!=='small-mouth').every({told})")
    assert page.run("return document.querySelectorAll('article img').length") > 2
    assert page.run("return [...document.querySelectorAll('th')].every(h=>h.scope)")
    assert page.run("return [...document.querySelectorAll('select')].every(s=>s.labels.length===1)")
    assert page.run("return [...document.querySelectorAll('table')].every(t=>t.caption)")
    ids = page.run("return [...document.querySelectorAll('[id]')].map(e=>e.id)")
    assert len(ids) == len(set(ids))
    # WCAG 2.1 asks for 4.5 to 1
    assert page.run(CONTRAST) >= 4.5


def test_a_copy_button_fills_the_clipboard(browser, small):
    browser.open(small / "cast.html")
    values = browser.run("return [...document.querySelectorAll('button.copy')].map(b=>b.dataset.value)")
    number = next(k for k, value in enumerate(values) if value.startswith("-"))
    wanted = values[number]
    browser.click(f'button.copy[data-value="{wanted}"]')
    assert said_copied(browser, number)
    assert f"Copied {wanted}" == browser.run("return document.getElementById('said').textContent")
    assert browser.pasted() == wanted and float(wanted) < 0


def test_a_keyboard_reaches_everything_in_the_order_of_the_page(browser, small):
    browser.open(small / "cast.html")
    browser.click("h1")
    places = []
    for _ in range(200):
        browser.press(TAB)
        place = browser.run(PLACE)
        if place is None or (places and place["order"] == places[0]["order"]):
            break
        places.append(place)
    reachable = browser.run(
        "return [...document.querySelectorAll('a[href],button,select,input,[tabindex=\"0\"]')]"
        ".filter(e=>e.getClientRects().length&&!e.classList.contains('skip')).length"
    )
    places = [place for place in places if place["name"] != "To the answers"]
    assert len(places) == reachable > 20
    assert [p["order"] for p in places] == sorted(p["order"] for p in places)
    assert [p for p in places if not (p["seen"] and p["outline"] and p["name"])] == []
    # a sort button and a copy button do their work from the keyboard too
    browser.run("document.querySelectorAll('button.copy')[1].focus()")
    wanted = browser.run("return document.activeElement.dataset.value")
    browser.press(ENTER)
    assert said_copied(browser, 1)
    assert browser.run("return document.activeElement.className") == "copy scripted"
    assert browser.pasted() == wanted


def test_the_skip_link_is_first_and_leads_past_the_header(browser, small):
    browser.open(small / "cast.html")
    browser.press(TAB)
    assert browser.run(PLACE)["name"] == "To the answers" and browser.run(PLACE)["seen"]
    browser.press(ENTER)
    assert browser.run("return document.activeElement.id") == "main"


def test_nothing_is_wider_than_a_narrow_window(browser, small):
    browser.open(small / "cast.html")
    size = {"width": 360, "height": 800, "deviceScaleFactor": 1, "mobile": False}
    browser.cdp("Emulation.setDeviceMetricsOverride", size)
    try:
        assert browser.run("return document.documentElement.scrollWidth") <= 360
        # rows become cards: nothing has to be scrolled sideways
        wide = "[...document.querySelectorAll('.wide')].every(e=>e.scrollWidth<=e.clientWidth)"
        assert browser.run(f"return {wide}")
        # without the heads of columns, a list sorts
        assert browser.run("return document.querySelector('select[name=sort]').getClientRects().length") == 1
    finally:
        browser.cdp("Emulation.clearDeviceMetricsOverride", {})


def test_on_paper_table_heads_come_again_and_no_sheet_is_nearly_empty(many, tmp_path):
    pdfium = pytest.importorskip("pypdfium2", reason="pypdfium2 turns a sheet into a picture")
    document = pdfium.PdfDocument(printed(many, tmp_path))
    assert document[0].get_size() == pytest.approx((595.4, 841.7), abs=1.0)
    texts, filled = [], []
    for sheet in document:
        texts.append(sheet.get_textpage().get_text_bounded())
        ink = np.flatnonzero((sheet.render(scale=0.5).to_numpy()[..., :3].min(axis=2) < 200).any(axis=1))
        filled.append((ink.max() + 1) / sheet.render(scale=0.5).height if ink.size else 0.0)
    with_rows = [text for text in texts if len(re.findall(r"[+-]\d\.\d\d to [+-]\d\.\d\d", text)) > 2]
    assert len(with_rows) >= 3 and all("Warnings" in text for text in with_rows)
    assert min(filled) > 0.25
    assert not any("Copy" in text or "Back to all frames" in text for text in texts)


def test_it_reads_without_scripts(small, tmp_path):
    with driven(tmp_path / "profile", scripts=False) as browser:
        browser.open(small / "cast.html")
        picture = browser.screenshot(1000, 800)
        assert picture.startswith(b"\x89PNG")
        # the driver's own scripts still look at the page: what needs scripts stays hidden, all else is there
        assert browser.run("return document.querySelectorAll('button.copy:not([hidden])').length") == 0
        assert browser.run("return document.querySelectorAll('#all thead button').length") == 0
        shown = browser.run("return document.body.innerText")
        assert "p1-0000" in shown and "Dial values to type (3)" in shown and "Verdict all" not in shown
        # before and after stand side by side
        pair = "[...document.querySelector('.pair').querySelectorAll('img')]"
        boxes = f"{pair}.map(i=>i.getBoundingClientRect())"
        assert browser.run(f"var [a,b]={boxes};return a.right<=b.left&&a.top===b.top&&b.width>50")
        assert browser.run("return document.querySelectorAll('input[type=range]').length") == 0


def test_it_keeps_its_size_and_names_no_address(done):
    text = (done[0] / "cast.html").read_text(encoding="utf-8")
    plain = text.partition("<script>")[0]
    assert "tern-a07" in plain and "default-src &#39;none&#39;" in text
    assert text.count("http://") + text.count("https://") == 0
    assert len(text) < 200_000 * 2
