"""Do clicks lie on the edge of enamel: a drawn mouth, clicks beside it, and pictures without teeth."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import ndimage

from bite.check.checks.on_enamel import lies_on_enamel, on_enamel
from bite.check.finding import Severity
from bite.evidence.clicks.tooth_row import DownSource, ToothRow
from bite.evidence.enamel.edge_on_enamel import EdgeOnEnamel, edge_on_enamel

MM, FINE = 0.25, 2
SKINS = {"light": (214, 170, 150), "middle": (160, 112, 90), "dark": (84, 58, 50)}
LIP, CAVITY = (0.78, 0.55, 0.58), (30, 18, 16)
CROWNS = ((-18.4, 2.6), (-12.0, 3.4), (-4.3, 4.3), (4.3, 4.3), (12.0, 3.4), (18.4, 2.6))


@cache
def face(skin="light", *, teeth=True, gray=False, broken=0.0, seed=0):
    """Draw lips on skin, 76 mm wide; with teeth bared between them, lips closed without."""
    height, width = 260, 304
    y, x = np.mgrid[0 : height * FINE, 0 : width * FINE]
    x, y = ((x + 0.5) / FINE - 0.5 - 152) * MM, ((y + 0.5) / FINE - 0.5 - 120) * MM
    fine = np.empty((*x.shape, 3))
    fine[:] = SKINS[skin]
    inside = 1 - np.clip(np.abs(x) / 27, 0, 1) ** 2
    top, bottom = (-7.0, 2.5) if teeth else (-0.25, 0.25)
    fine[(y > (top - 8) * inside) & (y < (bottom + 10) * inside)] = np.array(SKINS[skin]) * LIP
    opening = (y > top * inside) & (y < bottom * inside)
    fine[opening] = CAVITY
    if teeth:
        for k in range(-4, 4):
            fine[opening & (x > k * 5.4 + 0.1) & (x < k * 5.4 + 5.3) & (y > 0.4)] = (186, 176, 158)
        for centre, half in CROWNS:
            away = np.abs(x - centre)
            edge = -((away / half) ** 8) - (broken if centre == 4.3 else 0.0)
            fine[opening & (away < half - 0.08) & (y < edge)] = (214, 205, 186)
    levels = ndimage.gaussian_filter(fine, (1.0 * FINE, 1.0 * FINE, 0))
    levels = levels.reshape(height, FINE, width, FINE, 3).mean((1, 3))
    levels += np.random.default_rng(seed).normal(0, 2.0, levels.shape)
    picture = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    if gray:
        light = np.rint(picture @ [0.2126, 0.7152, 0.0722]).astype(np.uint8)
        picture = np.repeat(light[..., None], 3, 2)
    return picture


def row(right_px=0.0, down_px=0.0):
    edge = np.array([[-8.4, -0.3], [-0.2, 0.0], [0.2, 0.0], [8.4, -0.3]]) / MM + [
        152 + right_px,
        120 + down_px,
    ]
    axes = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    return ToothRow(*axes, edge, np.zeros((0, 2)), False, 8.4 / MM, DownSource.TOOTH_ORDER, False)


def read(picture, **shift):
    return edge_on_enamel(picture, row(**shift), mm_per_px=MM, blur_px=1.0)


@pytest.mark.parametrize("gray", [False, True])
@pytest.mark.parametrize("skin", SKINS)
def test_clicks_on_the_edge_pass_on_any_skin(skin, gray):
    found = on_enamel(read(face(skin, gray=gray)))
    assert found.severity is Severity.OK, found.text


@pytest.mark.parametrize("gray", [False, True])
@pytest.mark.parametrize("skin", SKINS)
@pytest.mark.parametrize("down_mm", [-15.0, -8.0, -4.0, -2.2, 2.2, 4.0, 8.0, 15.0])
def test_clicks_beside_the_edge_do_not(down_mm, skin, gray):
    assert not lies_on_enamel(read(face(skin, gray=gray), down_px=down_mm / MM))


@pytest.mark.parametrize("gray", [False, True])
@pytest.mark.parametrize("skin", SKINS)
@pytest.mark.parametrize("down_mm", [-4.0, -1.0, 0.0, 0.5, 1.0, 4.0])
def test_closed_lips_are_no_enamel(down_mm, skin, gray):
    """The line between two lips is dark as the edge of teeth is; nothing ends along it."""
    assert not lies_on_enamel(read(face(skin, teeth=False, gray=gray), down_px=down_mm / MM))


@pytest.mark.parametrize("kind", ["noise", "smooth", "strands"])
@pytest.mark.parametrize("seed", range(4))
def test_noise_and_fur_are_no_enamel(kind, seed):
    rng = np.random.default_rng(seed)
    sigma = {"noise": (0.0, 0.0), "smooth": (2.0, 2.0), "strands": (4.0, 0.7)}[kind]
    levels = ndimage.gaussian_filter(rng.normal(size=(260, 304)), sigma)
    light = 128 + 50 * levels / levels.std()
    picture = np.clip(light[..., None] * np.array([1.0, 0.86, 0.70]), 0, 255).astype(np.uint8)
    assert not lies_on_enamel(read(picture))


def test_one_broken_central_is_named():
    found = on_enamel(read(face(broken=4.0)))
    assert found.severity is Severity.WARN and "21" in found.todo and "broken" in found.todo


def test_the_lower_row_clicked_for_the_upper_is_told():
    found = on_enamel(replace(read(face()), row_above=0.9))
    assert found.severity is Severity.WARN and "lower row" in found.text


def test_clicks_out_of_the_picture_are_not_known():
    assert read(face(), down_px=400.0) is None
    found = on_enamel(None)
    assert found.severity is Severity.NOTE and "11d and 21d" in found.todo


def test_a_gray_picture_needs_sides_that_a_coloured_one_does_not():
    faint = EdgeOnEnamel(1.0, 1.0, 1.0, 10.0, 0.05, 0.01, 0.3, 0.0, 30)
    assert lies_on_enamel(faint) and not lies_on_enamel(replace(faint, less_red=None))
