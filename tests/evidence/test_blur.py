"""Blur along and across the tooth row, on a drawn mouth blurred by known filters."""

import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.clicks.tooth_row import DownSource, ToothRow
from bite.evidence.picture.blur import blur_around
from tests.evidence.test_below_edge import _mouth

MM = 0.25


def blurred(sigmas=(0.0, 0.0), box=(1, 1), roll=0.0):
    picture, edge, down = _mouth(-2.0, mm=MM, blur_px=0.5, noise=0.0, roll=roll)
    levels = ndimage.gaussian_filter(picture.astype(float), (*sigmas, 0.0))
    levels = ndimage.uniform_filter(levels, (*box, 1)) + np.random.default_rng(1).normal(0, 2.0, levels.shape)
    row = ToothRow(
        np.array([down[1], -down[0]]),
        np.array(down),
        edge,
        np.zeros((0, 2)),
        False,
        8.4 / MM,
        DownSource.TOOTH_ORDER,
        False,
    )
    return blur_around(np.clip(np.rint(levels), 0, 255).astype(np.uint8), row, mm_per_px=MM)


@pytest.mark.parametrize("sigma", [1.5, 3.0])
def test_even_blur_is_found_both_ways(sigma):
    found = blurred((sigma, sigma))
    known = np.hypot(sigma, 0.58)
    # thin dark lines between crowns look up to a third sharper than they are
    assert 0.6 * known < found.sideways_px < 1.2 * known
    assert 0.75 * known < found.up_down_px < 1.2 * known


@pytest.mark.parametrize("roll", [0.0, 20.0])
def test_a_sharp_picture_is_sharp_both_ways(roll):
    found = blurred(roll=roll)
    assert found.worst_px < 1.3


@pytest.mark.parametrize("sideways", [True, False])
def test_a_smear_is_found_along_its_own_way_only(sideways):
    found = blurred(box=(1, 13) if sideways else (13, 1))
    along, other = (
        (found.sideways_px, found.up_down_px) if sideways else (found.up_down_px, found.sideways_px)
    )
    assert along > 2.0 and other < 1.3 and found.worst_px == along


def test_no_edges_are_no_sharpness():
    row = ToothRow(
        np.array([1.0, 0.0]),
        np.array([0.0, 1.0]),
        np.array([[30.0, 60.0], [90.0, 60.0]]),
        np.zeros((0, 2)),
        False,
        30.0,
        DownSource.TOOTH_ORDER,
        False,
    )
    flat = blur_around(np.full((120, 120, 3), 128, np.uint8), row, mm_per_px=0.3)
    assert flat.sideways_px is None and flat.up_down_px is None and flat.worst_px is None
