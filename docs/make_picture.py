"""Make docs/before-after.png, the picture at the top of README.md, from a demo frame and nothing else.

    python docs/make_picture.py

The picture that `bite check` writes, at two thirds of its size and in 256 colours: letters stay readable.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from PIL import Image

from bite.cli import main

ROOT = Path(__file__).resolve().parent.parent
FRAME = ROOT / "demo_bite" / "plover" / "plover-b02.bite.toml"
WIDTH_PX = 1460


def make(target: Path) -> int:
    """Check the demo frame and save its picture, smaller; give the exit code of the check."""
    with tempfile.TemporaryDirectory() as folder:
        code = main(["check", str(FRAME), "--quiet", "--out", folder])
        if code != 0:
            return code
        picture = Image.open(Path(folder) / "plover-b02.before-after.png").convert("RGB")
    height_px = round(picture.height * WIDTH_PX / picture.width)
    smaller = picture.resize((WIDTH_PX, height_px), Image.Resampling.LANCZOS)
    smaller.quantize(256, dither=Image.Dither.NONE).save(target, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(make(ROOT / "docs" / "before-after.png"))
