"""A cast of four thousand files of rubbish under hostile names: a line each, a whole page, the rest done."""

import csv
import html
import json
import re
from html.parser import HTMLParser

import pytest

from bite.cli import main
from tests.cast.conftest import write_cast

FILES = 4_000
NAMES = (
    "<script>alert(1)<／script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "=cmd|' ⁄C calc'!A0",
    "@SUM(1+1)*cmd",
    "+1+1",
    "-1+1",
    "..\\..\\etc\\passwd",
    "%2e%2e%2fetc%2fpasswd",
    "line\nbreak\r\nand\ttab",
    "\u202egnp.exe",
    "{{ 7*7 }} {% raw %}",
    "]]><!-- -->",
    "&lt;b&gt; &amp;",
    "a" * 200,
    "\x1b[31mred\x07",
    "ﷺ" * 20,
)
CONTENTS = (
    b"\x00\xff\xfe",
    b"",
    b'format = "bite-frame 1"\nname = "../../../etc/passwd"\n',
    b'format = "bite-frame 1"\nname = "<script>alert(1)</script>"\nperformer = "=1+1"\ndevice = "d"\n',
    b"[" * 5000,
    b'format = "bite-frame 1"\n' + b"x = 1\n" * 100,
    b'format = "=HYPERLINK(\\"file:///etc\\")"\n',
)


class Tags(HTMLParser):
    """Collects every tag with its attributes, and what stands open at the end."""

    VOID = frozenset({"meta", "img", "br", "input"})

    def __init__(self):
        super().__init__()
        self.open, self.seen = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """Write and run the cast; give its folder and exit code."""
    folder = tmp_path_factory.mktemp("hostile")
    path = write_cast(folder, "whimbrel", patterns='"whimbrel/*.bite.toml", "rubbish/*"')
    rubbish = folder / "rubbish"
    rubbish.mkdir()
    for number in range(FILES):
        ending = ".bite.toml" if number % 2 else ".png"
        stem = NAMES[number % len(NAMES)] if number < 4 * len(NAMES) else "f"
        (rubbish / f"{stem}{number:05d}{ending}").write_bytes(CONTENTS[number % len(CONTENTS)])
    return folder, main(["cast", str(path), "--jobs", "1"])


@pytest.mark.slow
def test_every_file_has_its_line_and_the_good_frame_is_done(hostile):
    folder, code = hostile
    assert code == 2
    cast = json.loads((folder / "cast.json").read_text(encoding="utf-8"))
    assert [frame["verdict"] for frame in cast["frames"]] == ["usable"]
    assert len(cast["failures"]) == FILES and len({f["file"] for f in cast["failures"]}) == FILES
    assert all(f["line"].isprintable() and 0 < len(f["line"]) <= 1000 for f in cast["failures"])
    assert not {f["kind"] for f in cast["failures"]} - {"bad input"}


@pytest.mark.slow
def test_the_page_is_whole_and_nothing_of_a_name_is_markup(hostile):
    text = (hostile[0] / "cast.html").read_text(encoding="utf-8")
    page = Tags()
    page.feed(text)
    assert page.open == []
    assert [tag for tag, _ in page.seen].count("script") == 1
    assert not [a for _, found in page.seen for a in found if a.startswith("on")]
    assert all(found["href"].startswith("#") for _, found in page.seen if "href" in found)
    assert all(found["src"].startswith("data:image/") for _, found in page.seen if "src" in found)
    items = re.findall(r"<li><strong>bad input</strong>: (.*)</li>", text)
    assert len(items) == FILES
    assert any("<script>alert(1)" in html.unescape(item) for item in items)
    assert "{{ 7*7 }}" in text and "49 {% raw" not in text
    # thousands of lines do not stand before the frames
    assert text.index('id="every"') < 100_000 < len(text) < 400 * FILES


@pytest.mark.slow
def test_the_table_has_a_row_each_and_no_formula(hostile):
    text = (hostile[0] / "cast.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(text.splitlines()))
    assert len(rows) == 2 + FILES and {len(row) for row in rows} == {len(rows[0])}
    numbers = {k for k, name in enumerate(rows[0]) if name.endswith("_mm") or name.startswith("dial")}
    for row in rows[1:]:
        assert not [c for k, c in enumerate(row) if k not in numbers and c[:1] in ("=", "+", "-", "@")]


@pytest.mark.slow
def test_nothing_was_written_elsewhere(hostile):
    folder = hostile[0]
    assert {path.name for path in folder.iterdir()} == {
        ".bite-cast", "bench-depth.device.toml", "cast.csv", "cast.html", "cast.json", "cast.pdf",
        "cast.toml", "rubbish", "whimbrel",
    }  # fmt: skip
    assert len(list((folder / "rubbish").iterdir())) == FILES
