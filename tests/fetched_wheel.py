"""Open data out of packages, fetched by pip once into a cache: whole or not at all, whoever else fetches."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[1]


class WheelMissingError(RuntimeError):
    """The wheel is not in the cache and could not be fetched."""


def fetched_wheel(requirement: str) -> Path:
    """Give the path of a requirement's wheel, fetching it where it is missing.

    Raises
    ------
    WheelMissingError
        Where it cannot be fetched.
    """
    return _fetched(requirement, "-*.whl", "--only-binary")


def fetched_source(requirement: str) -> Path:
    """Give the path of a requirement's source archive; else as `fetched_wheel`."""
    return _fetched(requirement, ".tar.gz", "--no-binary")


def _fetched(requirement: str, ending: str, kind: str) -> Path:
    cache = Path(os.environ.get("BITE_TEST_CACHE") or ROOT / ".cache")
    name, _, version = requirement.partition("==")
    pattern = f"{name.replace('-', '_')}-{version or '*'}{ending}"
    found = sorted(cache.glob(pattern))
    if found:
        return found[0]
    cache.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=cache) as passing:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", kind, ":all:"]
        try:
            done = subprocess.run(
                [*command, "--dest", passing, requirement],
                capture_output=True,
                text=True,
                timeout=300,
                check=False,
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            raise WheelMissingError(f"{requirement} could not be fetched: {type(error).__name__}") from error
        new = sorted(Path(passing).glob(pattern))
        if done.returncode or not new:
            raise WheelMissingError(f"{requirement} could not be fetched: pip exit code {done.returncode}")
        return new[0].replace(cache / new[0].name)


def unpacked(wheel: Path, names: Iterable[str], folder: Path) -> None:
    """Unpack files of a wheel into a folder, each in one piece; those that are there stay."""
    folder.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(wheel) as package, TemporaryDirectory(dir=folder) as passing:
        for name in names:
            target = folder / name
            if not target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                Path(package.extract(name, passing)).replace(target)
