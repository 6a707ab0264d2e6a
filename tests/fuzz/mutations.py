"""Damage done to one file, told by a random generator: bytes, lines, numbers, or the file as a whole."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Callable
from pathlib import Path

SPICE = (
    b"nan", b"inf", b"-1", b"1e999", b"0", b"-0.0", b"1e-320", b"9" * 400, b"9" * 5000, b"[" * 3000, b"\x00",
    b"\xff", b'"', b"'", b"\n", b"\r", b"=", b"{}", b"\\", b" ", b"#", b"\xe2\x80\xae", b"\xf0\x9f\xa6\xb7",
    b"../" * 50, b"/dev/zero", b"true", b"null", b'"""', b"1_000", b"0x7fffffff", b"-2147483649",
)  # fmt: skip
_NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_WORD = re.compile(rb"[A-Za-z_]{2,}")
TEXTS = (".toml", ".json", ".yaml", ".csv", ".obj")
Mutation = Callable[[random.Random, bytes], bytes]


def _flip(rng: random.Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 8, 64))):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def _flip_head(rng: random.Random, data: bytes) -> bytes:
    """Damage the first bytes, where formats state sizes."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 4))):
        out[rng.randrange(min(len(out), 128))] = rng.randrange(256)
    return bytes(out)


def _cut(rng: random.Random, data: bytes) -> bytes:
    return data[: rng.randrange(len(data))]


def _span(rng: random.Random, data: bytes) -> tuple[int, int]:
    start = rng.randrange(len(data))
    return start, min(len(data), start + 1 + int(rng.expovariate(1 / 200)))


def _delete(rng: random.Random, data: bytes) -> bytes:
    start, end = _span(rng, data)
    return data[:start] + data[end:]


def _double(rng: random.Random, data: bytes) -> bytes:
    start, end = _span(rng, data)
    return data[:end] + data[start:end] * rng.choice((1, 1, 50)) + data[end:]


def _zeros(rng: random.Random, data: bytes) -> bytes:
    start, end = _span(rng, data)
    return data[:start] + bytes(end - start) + data[end:]


def _spice(rng: random.Random, data: bytes) -> bytes:
    start = rng.randrange(len(data) + 1)
    return data[:start] + rng.choice(SPICE) + data[start:]


def _swap(rng: random.Random, data: bytes) -> bytes:
    (a, b), (c, d) = sorted((_span(rng, data), _span(rng, data)))
    return data if c < b else data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def _number(rng: random.Random, data: bytes) -> bytes:
    """Put another number in a number's place."""
    found = list(_NUMBER.finditer(data[:200_000]))
    if not found:
        return _flip(rng, data)
    at = rng.choice(found)
    value = float(at.group()) if len(at.group()) < 300 else 0.0
    other = rng.choice(
        (-value, value * 10, value / 10, value * 1.1, value + 1, value - 1, value * 1e6, 0.0, 1e300)
    )
    text = rng.choice((*SPICE[:9], *(f"{other:.6g}".encode(),) * 12))
    return data[: at.start()] + text + data[at.end() :]


def _word(rng: random.Random, data: bytes) -> bytes:
    """Put another of the file's own words in a word's place."""
    found = list(_WORD.finditer(data[:50_000]))
    if len(found) < 2:
        return _flip(rng, data)
    at, other = rng.choice(found), rng.choice(found)
    return data[: at.start()] + other.group() + data[at.end() :]


def _lines(rng: random.Random, data: bytes) -> bytes:
    """Drop, double, swap or join lines."""
    lines = data.split(b"\n")
    k, m = rng.randrange(len(lines)), rng.randrange(len(lines))
    kind = rng.randrange(4)
    if kind == 0:
        del lines[k]
    elif kind == 1:
        lines.insert(m, lines[k])
    elif kind == 2:
        lines[k], lines[m] = lines[m], lines[k]
    else:
        lines[k : k + 2] = [b" ".join(lines[k : k + 2])]
    return b"\n".join(lines)


def _encoding(rng: random.Random, data: bytes) -> bytes:
    """Store the text otherwise: with a byte order mark, other line ends, another encoding."""
    kind = rng.randrange(4)
    if kind == 0:
        return b"\xef\xbb\xbf" + data
    if kind == 1:
        return data.replace(b"\n", b"\r\n")
    if kind == 2:
        return data.decode("utf-8", "replace").encode("utf-16")
    return data.replace(b"\n", b"\r")


BYTES: tuple[Mutation, ...] = (
    *(_flip, _flip, _flip_head, _flip_head, _cut, _delete, _double, _zeros, _spice, _swap),
)
TEXT: tuple[Mutation, ...] = (_number, _number, _number, _number, _word, _word, _lines, _lines, _encoding)


def mutated(rng: random.Random, name: str, data: bytes) -> tuple[str, bytes]:
    """Give damaged bytes of a file, and what was done to it."""
    text = name.lower().endswith(TEXTS)
    done = []
    for _ in range(rng.choice((1, 1, 1, 1, 2, 4))):
        change = rng.choice(TEXT if text and rng.random() < 0.8 else BYTES)
        data = change(rng, data) if data else b"\n"
        done.append(change.__name__.strip("_"))
    return "+".join(done), data


def replaced(rng: random.Random, path: Path) -> str:
    """Put something else in the place of a file: nothing, no bytes, a folder, a link to itself, a pipe."""
    kind = rng.choice(("gone", "empty", "folder", "loop", "pipe", "broken link", "device"))
    path.unlink()
    if kind == "empty":
        path.write_bytes(b"")
    elif kind == "folder":
        path.mkdir()
    elif kind == "loop":
        path.symlink_to(path.name)
    elif kind == "broken link":
        path.symlink_to("nothing-here")
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "pipe":
        os.mkfifo(path)
    return kind
