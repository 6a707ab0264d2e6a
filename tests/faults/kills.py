"""Kill, end or interrupt runs at random instants: what stands afterwards is whole, and the next run works.

    python -m tests.faults.kills --runs 100 --signals KILL

Every command that writes takes its turn. Half of the instants are drawn over the whole run; the other half
fall within 20 ms of the first temporary file, which is when a save is under way.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.fuzz.bases import make_files
from tests.fuzz.forked import ended, import_everything

SAVING_S = 0.02
Arguments = Callable[[Path, Path], list[str]]


@dataclass(frozen=True, slots=True)
class Writer:
    """A command that writes.

    Parameters
    ----------
    name : str
    folder : str, the made files that it gets a copy of
    arguments : function of that copy and the folder for what is written
    edits : file beside the inputs that it may change, by name; empty where it changes none
    """

    name: str
    folder: str
    arguments: Arguments
    edits: str = ""


def _results(at: Path) -> list[str]:
    """Write two results of one frame, before and after a move; give their paths."""
    paths = []
    for name, t_mm, dial in (("b02", 1.4, 0.0), ("b02-after", 0.0, -0.44)):
        table = {
            "format": "bite-result 1", "frame": name, "performer": "plover",
            "inputs": {"front.jpg": "sha256:1"},
            "offset": {"t_mm": t_mm, "sd_mm": 0.1, "sampling_sd_mm": 0.05},
            "decision": {"verdict": "move", "why": "", "dial_before": dial},
        }  # fmt: skip
        paths.append(at / f"{name}.result.json")
        paths[-1].write_text(json.dumps(table), encoding="utf-8")
    return [str(path) for path in paths]


def _dial(at: Path, out: Path) -> list[str]:
    exports = f"1.0={at / 'plus.obj'}", f"-1.0={at / 'minus.obj'}"
    return ["dial", str(at / "rig.toml"), *exports, "--write", "--out", str(out)]


def _device(at: Path, out: Path) -> list[str]:
    frame = str(at / "card-350" / "card-350.bite.toml")
    return ["device", frame, "--write", str(out / "new.device.toml"), "--out", str(out)]


def _new(at: Path, out: Path) -> list[str]:
    return ["new", str(at / "front.jpg"), "--name", "x1", "--no-questions"]


def _check(at: Path, out: Path) -> list[str]:
    return ["check", str(at / "whimbrel-a02.bite.toml"), "--out", str(out), "--plots", str(out)]


def _agree(at: Path, out: Path) -> list[str]:
    return ["agree", str(at / "front.corners.json"), str(at / "again.json"), "--out", str(out)]


def _recheck(at: Path, out: Path) -> list[str]:
    return ["recheck", *_results(at), "--out", str(out)]


def _cast(at: Path, out: Path) -> list[str]:
    return ["cast", str(at / "cast.toml"), "--jobs", "1", "--out", str(out)]


def _choose(at: Path, out: Path) -> list[str]:
    return ["choose", str(at / "take.avi"), "--out", str(out)]


def _opinion(at: Path, out: Path) -> list[str]:
    return ["opinion", str(at / "turnstone-d04.bite.toml"), "--out", str(out)]


WRITERS = (
    Writer("new", "whimbrel", _new),
    Writer("check", "whimbrel", _check),
    Writer("recheck", "whimbrel", _recheck),
    Writer("agree", "curlew", _agree),
    Writer("dial", "dial", _dial, edits="rig.toml"),
    Writer("device", "cards", _device),
    Writer("choose", "video", _choose),
    Writer("cast", "cast", _cast),
    Writer("opinion", "turnstone", _opinion),
)


class _At:
    """Send a signal at an instant: so many seconds into a run, or after its first temporary file."""

    def __init__(self, number: signal.Signals, at_s: float, folder: Path | None) -> None:
        self._signal, self._at_s, self._folder = number, at_s, folder
        self.sent = False

    def __call__(self, child: int, age_s: float) -> bool:
        if self._folder is not None:
            if not any(self._folder.rglob(".bite-*.tmp")):
                return False
            self._folder, self._at_s = None, age_s + self._at_s
        if age_s < self._at_s:
            return False
        os.kill(child, self._signal)
        self.sent = True
        return True


def disturbed(
    runs: int, numbers: Sequence[signal.Signals], seed: int, writers: Sequence[Writer] = WRITERS
) -> tuple[Counter[str], list[str]]:
    """Disturb so many runs, each signal in its turn; give how they ended, and what is wrong, line by line."""
    import_everything()
    rng = random.Random(seed)
    counted: Counter[str] = Counter()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory(prefix="kills-") as name:
        made, folder = Path(name) / "made", Path(name) / "run"
        made.mkdir()
        make_files(made)
        shutil.copy(made / "curlew" / "front.corners.json", made / "curlew" / "again.json")
        took_s: dict[str, float] = {}
        whole: dict[str, dict[str, bytes]] = {}
        for turn in range(runs):
            writer, number = writers[turn % len(writers)], numbers[turn % len(numbers)]
            if writer.name not in took_s:
                took_s[writer.name], whole[writer.name] = _undisturbed(writer, made, folder)
            inside = rng.random() < 0.5
            at_s = rng.uniform(0, SAVING_S if inside else took_s[writer.name])
            arguments, before = _prepared(writer, made, folder)
            disturb = _At(number, at_s, folder if inside else None)
            told = ended(arguments, folder, disturb=disturb)
            counted[f"{writer.name} ended with {told.code}"] += 1
            faults = _faults(writer, folder, before, whole[writer.name])
            if number is not signal.SIGKILL and "Traceback" in told.err:
                faults.append("a traceback: " + told.err[-200:])
            if number is signal.SIGINT and told.code not in (0, 1, 130):
                faults.append(f"exit code {told.code}")
            if number is not signal.SIGKILL and told.code >= 0 and list(folder.rglob(".bite-*.tmp")):
                faults.append("a temporary file is left")
            again = ended(arguments, folder)
            if again.code not in (0, 1) and writer.name != "new":
                faults.append(f"the next run ended with {again.code}: {again.err[-200:]}")
            wrong += [f"{writer.name}, turn {turn}, {at_s:.3f} s: {fault}" for fault in faults]
    return counted, wrong


def _prepared(writer: Writer, made: Path, folder: Path) -> tuple[list[str], dict[str, bytes]]:
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "out").mkdir(parents=True)
    shutil.copytree(made / writer.folder, folder / "in")
    arguments = writer.arguments(folder / "in", folder / "out")
    return arguments, _held(folder / "in")


def _undisturbed(writer: Writer, made: Path, folder: Path) -> tuple[float, dict[str, bytes]]:
    import time

    arguments, _ = _prepared(writer, made, folder)
    start_s = time.monotonic()
    told = ended(arguments, folder)
    if told.code not in (0, 1):
        raise AssertionError(f"{writer.name} does not work undisturbed: {told.err}")
    return time.monotonic() - start_s, _held(folder)


def _held(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name not in ("stdout", "stderr")
    }


def _faults(
    writer: Writer, folder: Path, before: dict[str, bytes], whole: dict[str, bytes]
) -> list[str]:
    """Say what is wrong with what stands after a disturbed run."""
    faults = []
    held = _held(folder)
    for name, data in before.items():
        allowed = {data, whole.get(f"in/{name}", data)} if name == writer.edits else {data}
        if held.get(f"in/{name}") not in allowed:
            faults.append(f"the input {name} was changed")
    for name, data in held.items():
        fresh = not name.startswith("in/") or name[3:] not in before
        if fresh and not Path(name).name.startswith(".bite-") and not _is_whole(name, data):
            faults.append(f"{name} is not whole ({len(data)} bytes)")
    return faults


def _is_whole(name: str, data: bytes) -> bool:
    """Tell by a file's own format, and not by how the program writes it, whether all of it is there."""
    ending = name.rpartition(".")[2]
    try:
        if ending == "json":
            return bool(json.loads(data)) and data.endswith(b"\n")
        if ending == "toml":
            return bool(tomllib.loads(data.decode("utf-8"))) and data.endswith(b"\n")
        if ending == "png":
            picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
            return picture is not None and data.endswith(b"IEND\xaeB`\x82")
        if ending == "html":
            return data.rstrip().endswith(b"</html>")
        if ending == "pdf":
            return data.rstrip().endswith(b"%%EOF")
        return bool(data)
    except ValueError:
        return False


def main() -> int:
    """Disturb runs, and print how they ended and what is wrong; exit code 1 where anything is."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--signals", nargs="+", default=["KILL"], choices=("KILL", "TERM", "INT"))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=len(WRITERS), help="only the first, cheaper commands")
    args = parser.parse_args()
    numbers = [signal.Signals[f"SIG{name}"] for name in args.signals]
    counted, wrong = disturbed(args.runs, numbers, args.seed, WRITERS[: args.first])
    print("\n".join(wrong))
    print(f"{sum(counted.values())} runs: {', '.join(f'{n} {how}' for how, n in sorted(counted.items()))}")
    print(f"{len(wrong)} wrong")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
