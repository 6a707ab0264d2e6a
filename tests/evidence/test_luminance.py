import numpy as np
import pytest

from bite.evidence.picture.luminance import box_around, cie_lab, is_gray, luminance


def test_lab_agrees_with_opencv():
    cv2 = pytest.importorskip("cv2")
    picture = np.random.default_rng(3).integers(0, 256, (200, 300, 3), dtype=np.uint8)
    stored = picture / 255
    linear = np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)
    # from linear values OpenCV computes; from stored ones it interpolates in a table, off by up to 0.43
    other = cv2.cvtColor(linear.astype(np.float32), cv2.COLOR_LRGB2Lab)
    # both matrices are rounded to four or six digits: 1e-4 of a ratio is 0.05 in a*
    assert np.abs(cie_lab(picture) - other).max() < 0.05


def test_luminance_of_gray_is_the_stored_value():
    picture = np.repeat(np.arange(256, dtype=np.uint8)[:, None, None], 3, 2)
    assert np.allclose(luminance(picture)[:, 0], np.arange(256), atol=1e-9)


def test_gray_bears_a_little_colour_noise_but_no_lips():
    rng = np.random.default_rng(0)
    gray = np.repeat(rng.integers(20, 200, (50, 50, 1)), 3, 2) + rng.integers(0, 2, (50, 50, 3))
    assert is_gray(gray.astype(np.uint8))
    gray[:10, :10, 0] += 30
    assert not is_gray(gray.astype(np.uint8))


def test_box_is_cut_at_the_picture():
    mask = np.zeros((10, 12), bool)
    mask[2:4, 9:11] = True
    assert box_around(mask, 3) == (slice(0, 7), slice(6, 12))


@pytest.mark.parametrize(
    "wrong",
    [
        np.zeros((4, 4, 3)),
        np.zeros((4, 4), np.uint8),
        np.zeros((4, 4, 4), np.uint8),
        np.zeros((4, 4, 3), np.uint16),
    ],
)
def test_other_arrays_are_refused(wrong):
    with pytest.raises(ValueError, match="needed an RGB picture"):
        luminance(wrong)
