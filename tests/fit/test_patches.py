"""Patches of skin that stand off: how much less they count."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from bite.fit.patches import patch_trust

SHAPE, SD_MM, MM_PER_PX = (120, 160), 0.4, 0.6


def noise(seed: int, blur_px: float) -> np.ndarray:
    made = gaussian_filter(np.random.default_rng(seed).normal(size=SHAPE), blur_px)
    return SD_MM * made / made.std()


def trusted(residual_mm: np.ndarray, skin: np.ndarray | None = None) -> np.ndarray:
    skin = np.ones(SHAPE, dtype=bool) if skin is None else skin
    return patch_trust(residual_mm, skin, np.ones(SHAPE), sd_mm=SD_MM, mm_per_px=MM_PER_PX)


@pytest.mark.parametrize("blur_px", [0.0, 1.5, 3.0])
def test_noise_of_any_correlation_keeps_nearly_all_of_its_weight(blur_px: float) -> None:
    trust = trusted(noise(3, blur_px) if blur_px else np.random.default_rng(3).normal(0, SD_MM, SHAPE))
    # of a normal variate max(1, |z| / 1.5)^-2 is 0.954 on average (by integration)
    assert trust.max() == 1.0 and abs(trust.mean() - 0.954) < 0.03


def test_a_patch_like_the_noise_of_a_pixel_loses_its_weight_and_skin_about_it_does_not() -> None:
    kept = []
    for seed in range(10):
        off = noise(seed, 1.5)
        off[50:70, 60:80] -= 1.2 * SD_MM
        kept.append(trusted(off))
    trust = np.mean(kept, axis=0)
    assert trust[54:66, 64:76].mean() < 0.5
    assert trust[:35].mean() > 0.9 and trust[:, 110:].mean() > 0.9


def test_what_is_no_skin_keeps_its_weight_and_does_not_speak() -> None:
    off, skin = noise(5, 1.5), np.ones(SHAPE, dtype=bool)
    off[44:76, 54:86] -= 2.0 * SD_MM
    skin[50:70, 60:80] = False
    off[~skin] = 50.0
    trust = trusted(off, skin)
    assert (trust[~skin] == 1.0).all()
    assert np.allclose(trust, trusted(np.where(skin, off, -50.0), skin))
    assert trust[46:74, 56:60].max() < 0.9 and trust[:35].mean() > 0.9


def test_one_wild_pixel_does_not_make_a_patch() -> None:
    off = noise(6, 1.5)
    wild = off.copy()
    wild[60, 80] = 300.0
    assert trusted(wild)[52:68, 72:88].mean() > 0.6
    assert np.abs(trusted(wild) - trusted(off)).mean() < 0.02


def test_without_skin_or_without_residuals_all_is_kept() -> None:
    assert (trusted(noise(7, 1.5), np.zeros(SHAPE, dtype=bool)) == 1.0).all()
    assert (trusted(np.zeros(SHAPE)) == 1.0).all()
