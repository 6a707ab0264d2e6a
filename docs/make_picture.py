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
from bite.plots.style import AFTER, BEFORE, MEASURED

ROOT = Path(__file__).resolve().parent.parent
FRAME = ROOT / "demo_bite" / "plover" / "plover-b02.bite.toml"
WIDTH_PX = 1460


def few_coloured(picture: Image.Image) -> Image.Image:
    """Give a picture in 256 colours, those that mean something among them, and as they fade into white.

    Left to itself the choice follows areas: a single blue mark in a picture of lips came out green.
    """
    import numpy as np

    kept = [np.full(3, 255)]
    for look in (MEASURED, BEFORE, AFTER):
        colour = np.array([int(look.colour[k : k + 2], 16) for k in (1, 3, 5)])
        kept += [np.round(255 - share * (255 - colour)) for share in (1.0, 0.7, 0.4)]
    most = picture.quantize(256 - len(kept), dither=Image.Dither.NONE).getpalette() or []
    palette = Image.new("P", (1, 1))
    palette.putpalette([*np.concatenate(kept).astype(int).tolist(), *most[: 3 * (256 - len(kept))]])
    return picture.quantize(palette=palette, dither=Image.Dither.NONE)


def make(target: Path) -> int:
    """Check the demo frame and save its picture, smaller; give the exit code of the check."""
    with tempfile.TemporaryDirectory() as folder:
        code = main(["check", str(FRAME), "--quiet", "--out", folder])
        if code != 0:
            return code
        picture = Image.open(Path(folder) / "plover-b02.before-after.png").convert("RGB")
    height_px = round(picture.height * WIDTH_PX / picture.width)
    smaller = picture.resize((WIDTH_PX, height_px), Image.Resampling.LANCZOS)
    few_coloured(smaller).save(target, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(make(ROOT / "docs" / "before-after.png"))
