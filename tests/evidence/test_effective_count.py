import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.picture.effective_count import effective_count


@pytest.mark.slow
@pytest.mark.parametrize("sigma_px", [0.0, 1.0, 2.0])
def test_it_predicts_the_variance_of_a_mean(sigma_px):
    """The mean over n effective pixels must scatter with sigma / sqrt(n): checked on 300 drawn fields."""
    rng = np.random.default_rng(11)
    y, x = np.mgrid[0:60, 0:60]
    mask = np.hypot(x - 30, y - 30) < 25
    means, counts, spreads = [], [], []
    for _ in range(300):
        field = rng.normal(size=(60, 60))
        field = ndimage.gaussian_filter(field, sigma_px, mode="wrap") if sigma_px else field
        means.append(field[mask].mean())
        counts.append(effective_count(field, mask))
        spreads.append(field[mask].std())
    predicted = np.mean(spreads) / np.sqrt(np.mean(counts))
    # sd of a sd from 300 draws is 4 %; the rest is the cut at correlation 0.1
    assert predicted / np.std(means) == pytest.approx(1.0, abs=0.15)


def test_flat_regions_and_single_pixels():
    mask = np.zeros((5, 5), bool)
    mask[2, 2] = True
    assert effective_count(np.ones((5, 5)), mask) == 1
    assert effective_count(np.ones((5, 5)), np.ones((5, 5), bool)) == 25
