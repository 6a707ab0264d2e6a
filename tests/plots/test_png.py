"""PNG files of drawn pixels: every pixel back, a size on paper, the same bytes each time."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from bite.plots.png import png_bytes


def test_pixels_and_size_on_paper_come_back() -> None:
    pixels = np.random.default_rng(4).integers(0, 256, (37, 61, 4), dtype=np.uint8)
    pixels[..., 3] = 255
    data = png_bytes(pixels, 200.0)
    with Image.open(BytesIO(data)) as image:
        image.verify()  # check sums of all chunks
    with Image.open(BytesIO(data)) as image:
        # whole pixels a metre: half of one is 0.013 dpi
        assert image.info["dpi"] == pytest.approx((200.0, 200.0), abs=0.013)
        assert set(image.info) == {"dpi"}
        assert (np.asarray(image.convert("RGB")) == pixels[..., :3]).all()


def test_same_pixels_same_bytes() -> None:
    pixels = np.full((20, 30, 4), 255, np.uint8)
    assert png_bytes(pixels, 200.0) == png_bytes(pixels.copy(), 200.0)
