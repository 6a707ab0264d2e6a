"""What the page of a large cast costs: its size, and how long a browser takes to open and to search it.

    python -m tests.bench.cast_page --base FOLDER --frames 500

FOLDER holds a cast that was run, with its results beside its frames. They are copied under other names (each
copy a performer of its own, some bytes more in each picture, so that none counts as shown twice) until there
are so many, and the cast is run over them: every result holds, so that nothing is checked. The page is then
opened in Chromium.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bite.cast.mouth_pictures import _key
from tests.cast.browser import driven

_OPENED = """
var done = arguments[arguments.length - 1];
function ready() {
  var t = performance.getEntriesByType("navigation")[0];
  requestAnimationFrame(function () { setTimeout(function () {
    done([t.domInteractive, t.loadEventEnd, performance.now(), document.images.length,
          Array.prototype.filter.call(document.images, function (i) { return i.complete; }).length]);
  }, 0); });
}
if (document.readyState === "complete") ready();
else addEventListener("load", function () { setTimeout(ready, 0); });
"""
_SEARCHED = """
var done = arguments[arguments.length - 1], field = document.querySelector("input[name=name]");
var start = performance.now();
field.value = arguments[0]; field.dispatchEvent(new Event("input"));
requestAnimationFrame(function () { setTimeout(function () {
  done([performance.now() - start, document.getElementById("shown").textContent]);
}, 0); });
"""


def sha(data: bytes) -> str:
    """Give a hash as results write it."""
    return f"sha256:{hashlib.sha256(data).hexdigest()}"


def copied(base: Path, folder: Path, count: int) -> None:
    """Write copies of the frames that have a result until there are ``count``, with results that hold."""
    frames = sorted(path for path in base.glob("*/*.bite.toml") if result_of(path).is_file())
    (folder / "cast.toml").write_text((base / "cast.toml").read_text(encoding="utf-8"), encoding="utf-8")
    for table in base.glob("*.device.toml"):
        os.link(table, folder / table.name)
    pictures, made = folder / ".bite-cast", 0
    pictures.mkdir()
    for path in (base / ".bite-cast").iterdir():
        os.link(path, pictures / path.name)
    while made < count:
        for path in frames[: count - made]:
            one_copy(path, folder / f"{path.parent.name}-{made:05d}", f"-{made:05d}", pictures)
            made += 1


def result_of(path: Path) -> Path:
    """Give where a frame's result lies."""
    return path.with_name(path.name.replace(".bite.toml", ".result.json"))


def one_copy(path: Path, place: Path, ending: str, pictures: Path) -> None:
    """Write one frame under another name, with everything that belongs to it."""
    place.mkdir()
    old = result_of(path).read_bytes()
    content = json.loads(old)
    inputs = content["inputs"]
    text = path.read_text(encoding="utf-8")
    for key in ("name", "performer"):
        text = re.sub(rf'^{key} = "(.*?)"', rf'{key} = "\1{ending}"', text, count=1, flags=re.M)
    name = re.search(r'^name = "(.*?)"', text, flags=re.M).group(1)  # type: ignore[union-attr]  # None fails the test
    for key in inputs:
        source = path.parent / key
        if key.startswith(".."):
            continue
        data = source.read_bytes()
        if key == path.name:
            data = text.encode()
        elif source.suffix in (".jpg", ".png"):
            data += ending.encode()
            inputs[key] = sha(data)
        (place / key).parent.mkdir(exist_ok=True, parents=True)
        if data == source.read_bytes():
            os.link(source, place / key)
        else:
            (place / key).write_bytes(data)
    own = f"{name}.bite.toml"
    if path.name in inputs:
        inputs[own] = sha(text.encode())
        del inputs[path.name]
        (place / path.name).unlink()
    (place / own).write_text(text, encoding="utf-8")
    performer = content["performer"] + ending
    content |= {"frame": name, "performer": performer, "inputs": dict(sorted(inputs.items()))}
    new = (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode()
    (place / f"{name}.result.json").write_bytes(new)
    picture = path.with_name(path.name.replace(".bite.toml", ".before-after.png"))
    os.link(picture, place / f"{name}.before-after.png")
    for drawn in pictures.glob(f"{_key(old)}*"):
        os.link(drawn, pictures / drawn.name.replace(_key(old), _key(new)))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--base", type=Path, required=True)
    parser.add_argument("--frames", type=int, default=500)
    parser.add_argument("--keep", type=Path, help="make the copies in this empty folder and leave them")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=args.base.parent) as scratch:
        folder = args.keep or Path(scratch) / "cast"
        folder.mkdir(parents=True)
        copied(args.base, folder, args.frames)
        start = time.perf_counter()
        command = [sys.executable, "-c", "import sys; from bite.cli import main; sys.exit(main())", "cast"]
        command.append(str(folder / "cast.toml"))
        written = {path: path.stat().st_mtime_ns for path in folder.rglob("*.result.json")}
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        print(done.stderr[-300:] + done.stdout[-100:], f"{time.perf_counter() - start:.1f} s")
        again = sum(path.stat().st_mtime_ns != time_ns for path, time_ns in written.items())
        page, paper = folder / "cast.html", folder / "cast.pdf"
        print(f"{len(written)} results, {again} of them checked again")
        print(f"page {page.stat().st_size / 1e6:.1f} MB, PDF {paper.stat().st_size / 1e6:.1f} MB")
        for scripts in (True, False):
            with driven(Path(scratch) / f"profile-{scripts}", scripts=scripts) as browser:
                browser.call("POST", "/timeouts", {"pageLoad": 300_000, "script": 300_000})
                start = time.perf_counter()
                browser.open(page)
                took = time.perf_counter() - start
                load = f"load average {os.getloadavg()[0]:.1f}"
                print(f"opened in {took:.1f} s by the clock, scripts {'on' if scripts else 'off'}, {load}")
                if scripts:
                    told = browser.wait_for(_OPENED)
                    print("interactive, loaded, first frame (ms), images, of them complete:", told)
                    search = _SEARCHED.replace("arguments[0]", json.dumps("-000"))
                    print("searched (ms):", browser.wait_for(search))


if __name__ == "__main__":
    main()
