"""What is fuzzed: each command with demo files that it takes, and takes and exports made from them."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2

DEMO = Path(__file__).resolve().parents[2] / "demo_bite"


@dataclass(frozen=True, slots=True)
class Base:
    """One command on undamaged files.

    Parameters
    ----------
    name : str
    folder : str, folder of the made files that a case gets a copy of
    arguments : function from a copy's folder and the folder for what is written to the command's arguments
    one_line : bool, bad input is told in exactly one line
    weight : int, how often it is drawn
    writes : what the names of files hold that it may write beside its inputs; empty for none
    """

    name: str
    folder: str
    arguments: Callable[[Path, Path], list[str]]
    one_line: bool = True
    weight: int = 2
    writes: str = ""


def make_files(root: Path) -> None:
    """Make the folders that the bases need: performers, cards, a take as video and as pictures, exports."""
    for performer in DEMO.iterdir():
        if performer.is_dir() and any(performer.glob("*.bite.toml")):
            shutil.copytree(performer, root / performer.name)
            shutil.copy(DEMO / "bench-depth.device.toml", root / performer.name)
            _device_beside(root / performer.name)
    shutil.copytree(DEMO / "cards", root / "cards")
    cast = root / "cast"
    cast.mkdir()
    for performer in ("whimbrel", "turnstone"):
        shutil.copytree(root / performer, cast / performer)
    shutil.copy(DEMO / "cast.toml", cast)
    _exports(root)
    _take(root)


def _device_beside(folder: Path) -> None:
    for frame in folder.glob("*.bite.toml"):
        frame.write_text(frame.read_text("utf-8").replace("../bench-depth", "bench-depth"), encoding="utf-8")


def _exports(root: Path) -> None:
    """Write exports of plover's rig with the dial at 1 and -1: teeth moved by what the rig file says."""
    folder = root / "dial"
    folder.mkdir()
    lines = (root / "plover" / "rest.obj").read_text("utf-8").split("\n")
    shutil.copy(root / "plover" / "rest.obj", folder)
    shutil.copy(root / "plover" / "rig.toml", folder)
    group, teeth = "", set()
    for line in lines:
        group = line[2:] if line.startswith("g ") else group
        if line.startswith("f ") and group.startswith("teeth"):
            teeth |= {int(number) for number in line.split()[1:]}
    stated = re.findall(r"forward = \[(.*)\]", (folder / "rig.toml").read_text("utf-8"))[0]
    forward = [float(x) for x in stated.split(",")]
    for value in (1, -1):
        out, number = [], 0
        for line in lines:
            if line.startswith("v "):
                number += 1
                if number in teeth:
                    at = [float(x) for x in line.split()[1:]]
                    moved = [a - value * 0.32 * f for a, f in zip(at, forward, strict=True)]
                    line = "v " + " ".join(f"{x:.5f}" for x in moved)
            out.append(line)
        (folder / f"{'plus' if value > 0 else 'minus'}.obj").write_text("\n".join(out), encoding="utf-8")


def _take(root: Path) -> None:
    """Write plover's mouth, moved a pixel or two a frame, as a video and as a folder of pictures."""
    picture = cv2.imread(str(root / "plover" / "front.jpg"))
    height, width = picture.shape[:2]
    mouth = picture[height // 2 - 100 : height // 2 + 140, width // 2 - 160 : width // 2 + 160]
    folder = root / "video"
    folder.mkdir()
    writer = cv2.VideoWriter(str(folder / "take.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 25, (300, 220))
    pictures = root / "pictures" / "take"
    pictures.mkdir(parents=True)
    for number in range(4):
        piece = mouth[number : number + 220, 2 * number : 2 * number + 300]
        writer.write(piece)
        cv2.imwrite(str(pictures / f"p{number}.{('png', 'jpg', 'tiff', 'png')[number]}"), piece)
    writer.release()


def _check(frame: str) -> Callable[[Path, Path], list[str]]:
    return lambda at, out: ["check", str(at / frame), "--json", "--out", str(out)]


def _of(command: str, *files: str, more: tuple[str, ...] = ()) -> Callable[[Path, Path], list[str]]:
    return lambda at, out: [command, *(str(at / file) for file in files), *more, "--out", str(out)]


def _browser(at: Path, out: Path) -> list[str]:
    return ["annotate", str(at / "tern-a07.bite.toml"), "--browser", "--no-check"]


def _dial(at: Path, out: Path) -> list[str]:
    exports = f"1.0={at / 'plus.obj'}", f"-1.0={at / 'minus.obj'}"
    return ["dial", str(at / "rig.toml"), *exports, "--json", "--out", str(out)]


def bases() -> tuple[Base, ...]:
    """List what is fuzzed."""
    found = []
    for performer in sorted(path for path in DEMO.iterdir() if path.is_dir()):
        for frame in sorted(performer.glob("*.bite.toml")):
            found.append(Base(f"check {frame.name}", performer.name, _check(frame.name)))
    curlew = [f"curlew-a{number}.bite.toml" for number in (11, 12, 13)]
    plover = ("plover-b02.bite.toml", "plover-b02-after.bite.toml")
    cards = [f"card-{mm}/card-{mm}.bite.toml" for mm in (350, 500)]
    return (
        *found,
        Base("check --together", "curlew", _of("check", *curlew, more=("--together", "--json"))),
        Base("opinion", "plover", _of("opinion", plover[0], more=("--json",)), weight=4),
        Base("opinion of a profile", "turnstone", _of("opinion", "turnstone-d04.bite.toml"), weight=2),
        Base("recheck", "plover", _of("recheck", *plover, more=("--json",)), weight=6),
        Base("cast", "cast", _of("cast", "cast.toml", more=("--jobs", "1")), one_line=False),
        Base("device", "cards", _of("device", *cards), weight=4),
        Base("dial", "dial", _dial, weight=6),
        Base("choose a video", "video", _of("choose", "take.avi", more=("--json",)), weight=10),
        Base("choose pictures", "pictures",
             _of("choose", "take", more=("--json",)), one_line=False, weight=4),
        Base("annotate --browser", "tern", _browser, weight=4, writes=".corners.json"),
    )


def copied(root: Path, base: Base, target: Path) -> list[Path]:
    """Give a case its own copy, as links to the made files: writing into one in place is found out."""
    files = []
    for path in sorted((root / base.folder).rglob("*")):
        own = target / path.relative_to(root / base.folder)
        if path.is_dir():
            own.mkdir(parents=True, exist_ok=True)
        else:
            own.parent.mkdir(parents=True, exist_ok=True)
            os.link(path, own)
            files.append(own)
    return files
