"""Bare enamel, motion and grain: what `bite choose` measures of single frames."""

import numpy as np
import pytest

from bite.choose.stillness import motion_between, small_grey
from bite.evidence.clicks.tooth_row import DownSource, ToothRow
from bite.evidence.depth.map_grain import grain_of
from bite.evidence.enamel.area import enamel_area
from demo_bite.scene.sensor import correlated_noise

ENAMEL, SHADED, LIP, DARK = (214, 205, 186), (120, 114, 104), (170, 95, 90), (30, 18, 16)
MM = 0.4


def _mouth(upper_mm=8.0, lower_mm=4.0, gap_mm=0.0, gray=False):
    """Draw lips with a box of enamel 30 mm wide: upper above row 60, lower below it."""
    image = np.empty((130, 160, 3), np.uint8)
    image[:] = LIP
    left, right = 80 - round(15 / MM), 80 + round(15 / MM)
    edge = 60
    image[edge - round(upper_mm / MM) : edge, left:right] = ENAMEL
    start = edge + round(gap_mm / MM)
    image[edge:start, left:right] = DARK
    image[start : start + round(lower_mm / MM), left:right] = SHADED
    if gray:
        image[:] = image.mean(-1, keepdims=True).astype(np.uint8)
    places = np.array([[80 - 8.6 / MM, 59.5], [80 + 8.6 / MM, 59.5]])
    row = ToothRow(
        np.array([1.0, 0]), np.array([0, 1.0]), places, np.zeros((0, 2)), False, 8.6 / MM,
        DownSource.TOOTH_ORDER, False,
    )  # fmt: skip
    return image, row


@pytest.mark.parametrize("upper_mm, lower_mm, gap_mm", [(8.0, 4.0, 0.0), (4.0, 4.0, 2.0), (3.2, 0.0, 0.0)])
def test_the_area_of_enamel_is_that_of_what_was_drawn(upper_mm, lower_mm, gap_mm):
    image, row = _mouth(upper_mm, lower_mm, gap_mm)
    area = enamel_area(image, row, mm_per_px=MM)
    wide = 2 * round(15 / MM) * MM
    # the upper row's line runs through pixel centres: half a pixel row may fall to either side
    assert area.upper_mm2 == pytest.approx(wide * round(upper_mm / MM) * MM, abs=wide * MM)
    assert area.lower_mm2 == pytest.approx(wide * round(lower_mm / MM) * MM, abs=wide * MM)
    assert area.height_mm == pytest.approx(upper_mm + lower_mm, abs=2 * MM)
    assert area.colour_used


def test_grey_pictures_leave_shaded_teeth_out_rather_than_take_lips_in():
    image, row = _mouth(gray=True)
    area = enamel_area(image, row, mm_per_px=MM)
    assert not area.colour_used and area.lower_mm2 < 0.2 * area.upper_mm2


def test_enamel_out_of_the_picture_is_none():
    image, row = _mouth()
    assert enamel_area(image[:20, :20], row, mm_per_px=MM) is None


def _texture(shift, size=(120, 160)):
    rng = np.random.default_rng(4)
    big = rng.normal(size=(size[0] + 40, size[1] + 40))
    import cv2

    smooth = cv2.GaussianBlur(big, (0, 0), 2.0)
    turn = np.array([[1, 0, shift[0] - 20], [0, 1, shift[1] - 20]], float)
    moved = cv2.warpAffine(smooth, turn, size[::-1], flags=cv2.INTER_CUBIC)
    return np.clip(128 + 300 * moved, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("shift", [(0, 0), (1.5, 0), (-3, 4)])
def test_motion_is_how_far_the_picture_moved(shift):
    way = motion_between(_texture((0, 0)), _texture(shift))
    # flow of clean textures is good to a few hundredths of a pixel
    assert way == pytest.approx(np.hypot(*shift), abs=0.1)


def test_motion_of_nothing_is_not_measured():
    flat = np.full((60, 80), 90, np.uint8)
    assert motion_between(flat, flat) is None


def test_large_pictures_are_shrunk_and_the_scale_is_told():
    small, scale = small_grey(np.zeros((1080, 1920), np.uint8))
    assert small.shape == (270, 480) and scale == 4.0


@pytest.mark.parametrize("noise, length", [(0.3, 0.8), (0.5, 1.5), (0.4, 2.2)])
def test_grain_finds_the_noise_of_a_smooth_face(noise, length):
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:160, 0:200]
    face = 300 + 0.002 * (x - 100) ** 2 + 0.001 * (y - 80) ** 2
    depth = face + noise * correlated_noise(rng, face.shape, length)
    depth[20:24, 30:60] = np.nan
    grain = grain_of(depth, np.ones(face.shape, bool))
    # at a length of 2.2 px noise still hangs together over the four pixels of the longer lag
    assert grain.noise_mm == pytest.approx(noise, rel=0.25)
    assert grain.correlation_px == pytest.approx(length, rel=0.35)


def test_grain_of_too_little_is_none():
    assert grain_of(np.full((10, 12), 300.0), np.ones((10, 12), bool)) is None
