"""Planted smoothing, filter and noise, recovered from simulated cards; and what must not be told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy import ndimage

from bite.device.band import band_of, band_width
from bite.device.card import find_card
from bite.device.edge_profile import fit_linear
from bite.device.flat_noise import flat_noise
from bite.device.measured import measure_device
from bite.device.told import device_text, toml_lines
from bite.files.bundle import load_frame
from tests.device.cards import measured, window_sd
from tests.device.simulated import Scene, readings, write_card

NAMES = {"gauss": "gauss", "box": "box", "median": "median", "bilateral": "edge-preserving"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "size"),
    [
        *(("gauss", size) for size in (1.0, 2.0, 3.5)),
        *((kind, float(size)) for kind in ("box", "median") for size in (3, 5, 7)),
        *(("bilateral", size) for size in (1.5, 2.5)),
    ],
)
def test_the_planted_filter_is_named_and_its_size_found(tmp_path: Path, kind: str, size: float) -> None:
    scene = Scene(kind=kind, size=size)
    found = measured(tmp_path, [scene])
    assert found.verdict.filter == NAMES[kind], found.verdict.why
    # each is one draw: 3 of its own sds
    assert abs(found.smoothing_px - window_sd(scene)) < 3 * found.smoothing_sd_px
    # noise that passed an edge-preserving filter tells its reach only where it is seen to swell at the edge
    assert found.smoothing_sd_px < (0.7 if kind == "bilateral" else 0.3) * window_sd(scene)


DOUBTFUL = {
    "no filter, white noise": Scene(kind="none"),
    "no filter, correlated noise": Scene(kind="none", correlation_px=1.5),
    "median under later white noise": Scene(kind="median", size=5, noise_after=True),
    "median under later correlated noise": Scene(kind="median", size=5, noise_after=True, correlation_px=1.5),
    "median under a coarse storage step": Scene(kind="median", size=5, step_mm=1.0),
    "bilateral, hardly edge-preserving": Scene(kind="bilateral", size=1.5, range_mm=150.0, noise_after=True),
    "median of correlated noise": Scene(kind="median", size=7, correlation_px=1.0),
    "bilateral under later correlated noise": Scene(
        kind="bilateral", size=2.5, noise_after=True, correlation_px=1.5
    ),
    "bilateral of correlated noise": Scene(kind="bilateral", size=2.0, correlation_px=1.0),
    "bilateral, strongly edge-preserving": Scene(kind="bilateral", size=2.0, range_mm=8.0),
    "bilateral, wide range": Scene(kind="bilateral", size=2.0, range_mm=80.0),
    "gauss in strong correlated noise": Scene(
        kind="gauss", size=1.0, noise_mm=5.5, noise_after=True, correlation_px=1.5
    ),
    "box in strong noise": Scene(kind="box", size=3, noise_mm=5.5, noise_after=True),
    "gauss, holes and flying pixels": Scene(kind="gauss", size=1.5, flying=0.05, holes=0.1),
    "none, holes and flying pixels": Scene(kind="none", flying=0.05, holes=0.1, correlation_px=1.0),
    "an upright edge, steep": Scene(kind="box", size=5, angle_deg=-20.0),
    "an edge along the rows": Scene(kind="gauss", size=2.0, angle_deg=84.0, at=0.5),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", DOUBTFUL)
def test_no_wrong_filter_is_named(tmp_path: Path, case: str) -> None:
    scene = DOUBTFUL[case]
    found = measured(tmp_path, [scene])
    assert found.verdict.filter in (None, NAMES.get(scene.kind)), found.verdict.why
    if scene.kind in ("gauss", "box") or found.verdict.filter is not None:
        assert abs(found.smoothing_px - window_sd(scene)) < 3 * found.smoothing_sd_px
    if found.verdict.filter is None:
        assert not any(line.startswith("filter") for line in toml_lines(found))


def exponential(depth: np.ndarray) -> np.ndarray:
    kernel = np.exp(-np.abs(np.arange(-14, 15)) / 1.2)
    kernel /= kernel.sum()
    return ndimage.convolve1d(ndimage.convolve1d(depth, kernel, axis=0), kernel, axis=1)


STRANGE = {
    "long tails": (exponential, {None}),
    "two boxes in a row": (lambda d: cv2.blur(cv2.blur(d, (3, 3)), (3, 3)), {None, "gauss"}),
    "a Gaussian, then a median": (lambda d: ndimage.median_filter(ndimage.gaussian_filter(d, 1), 5), {None}),
    "every reading twice": (lambda d: np.kron(d[::2, ::2], np.ones((2, 2))), {None}),
    "half the size, enlarged": (lambda d: cv2.pyrUp(cv2.pyrDown(d)), {None, "gauss"}),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", STRANGE)
def test_a_filter_that_is_none_of_the_four(tmp_path: Path, case: str) -> None:
    smooth, may_be_told = STRANGE[case]
    depth = smooth(readings(Scene(kind="none", step_mm=0, noise_mm=0.5), np.random.default_rng(2)))
    found = measure_device([load_frame(write_card(tmp_path, "card", depth))])
    assert found.verdict.filter in may_be_told, found.verdict.why
    if case == "two boxes in a row":
        # variances add up: 2 x 2/3 px^2; the sd knows that the shape is only nearly a Gaussian's
        assert abs(found.smoothing_px - np.sqrt(4 / 3)) < 3 * found.smoothing_sd_px
    if case == "every reading twice":
        assert "the map was enlarged" in found.verdict.why


def test_what_two_filters_explain_alike_is_said(tmp_path: Path) -> None:
    found = measured(tmp_path, [DOUBTFUL["bilateral, hardly edge-preserving"]])
    assert found.verdict.filter is None and "explains it alike" in found.verdict.why


def test_a_sharp_step_over_correlated_noise_keeps_a_wide_sd(tmp_path: Path) -> None:
    """A median or an edge-preserving filter may hide there, and would reach as far as the noise does."""
    found = measured(tmp_path, [DOUBTFUL["no filter, correlated noise"]])
    assert found.smoothing_px < 0.1 and found.smoothing_sd_px > 1.2


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "size", "true_px"), [("gauss", 1.5, 1.5), ("box", 5.0, 2**0.5)])
@pytest.mark.parametrize("correlation_px", [0.0, 1.5])
def test_the_sd_of_the_blur_is_the_scatter_of_the_blur(
    kind: str, size: float, true_px: float, correlation_px: float
) -> None:
    """Error over sd on 40 cards: rms 1 within 0.7 to 1.4, which is 1 -+ 3 / sqrt(80), rounded outwards.

    Noise is strong (5 mm of a step of 120 mm), so that no floor of the sd has a part in it.
    """
    ratios = []
    for seed in range(40):
        rng = np.random.default_rng([41, seed])
        scene = Scene(
            kind=kind, size=size, noise_mm=5.0, noise_after=True, correlation_px=correlation_px,
            angle_deg=float(rng.uniform(3, 14)), width=130, height=100,
        )  # fmt: skip
        depth = readings(scene, rng)
        found = find_card(depth, Path("card"))
        noise = (
            flat_noise(depth, found.card_flat, found.card, 0.1),
            flat_noise(depth, found.wall_flat, found.wall, 0.1),
        )
        length = max(noise[0].correlation_px, noise[1].correlation_px)
        fit = fit_linear(band_of(depth, found, noise, half_px=band_width(true_px)), kind, length)
        ratios.append((fit.smoothing_px - true_px) / (fit.variance_sd / (2 * fit.smoothing_px)))
    assert 0.7 < np.sqrt(np.mean(np.square(ratios))) < 1.4
    assert abs(np.mean(ratios)) < 3.5 / np.sqrt(40)


@pytest.mark.parametrize("correlation_px", [0.0, 1.0, 2.0])
def test_noise_and_its_correlation(tmp_path: Path, correlation_px: float) -> None:
    scene = Scene(kind="gauss", size=1.0, noise_after=True, noise_mm=0.8, correlation_px=correlation_px)
    found = measured(tmp_path, [scene]).cards[0]
    for flat in (found.card, found.wall):
        true_mm = 0.8 * (flat.distance_mm / 400) ** 2
        assert abs(flat.noise_mm - true_mm) < 4 * flat.noise_sd_mm < 0.15 * true_mm
        if correlation_px:
            # SciPy samples its kernel: 2 % at sd 1
            assert abs(flat.correlation_px - correlation_px) < 4 * flat.correlation_sd_px
            assert flat.correlation_sd_px < 0.1 * correlation_px
        else:
            assert flat.correlation_px == 0.0 and flat.correlation_sd_px < 0.4


@pytest.mark.slow
def test_the_sd_of_noise_is_its_scatter() -> None:
    """Error over sd of noise and correlation on 40 flats, within 0.7 to 1.4: 1 -+ 3 / sqrt(80)."""
    errors = []
    for seed in range(40):
        scene = Scene(kind="none", noise_after=True, correlation_px=1.2, noise_mm=1.0, tilt=(0.0, 0.0))
        depth = readings(scene, np.random.default_rng([7, seed]))
        found = find_card(depth, Path("card"))
        flat = flat_noise(depth, found.card_flat, found.card, 0.1)
        true_mm = np.hypot((flat.distance_mm / 400) ** 2, 0.1 / np.sqrt(12))
        noise = (flat.noise_mm - true_mm) / flat.noise_sd_mm
        errors.append((noise, (flat.correlation_px - 1.2) / flat.correlation_sd_px))
    rms = np.sqrt(np.mean(np.square(errors), axis=0))
    assert ((rms > 0.7) & (rms < 1.4)).all(), rms


@pytest.mark.slow
def test_two_cards_make_a_law(tmp_path: Path) -> None:
    near = Scene(kind="box", size=3, noise_after=True)
    far = replace(near, card_mm=700.0, wall_mm=860.0, noise_mm=(700 / 400) ** 2)
    found = measured(tmp_path, [near, far])
    law = found.law
    assert law is not None and law.points == 4 and law.grows and law.chi_square is not None
    # planted: 1 mm at 400 mm, by the square: 6.25 mm at 1 m
    assert abs(law.b_mm_per_m2 - 6.25) < 4 * law.b_sd_mm_per_m2 < 0.6
    assert law.a_mm < 4 * law.a_sd_mm + 0.01
    assert found.nearest.name == "card0" and found.verdict.filter == "box"
    alone = measured(tmp_path / "one", [near]).law
    assert alone is not None and alone.chi_square is None


@pytest.mark.slow
def test_flatness_flying_pixels_and_storage_step(tmp_path: Path) -> None:
    bent = measured(tmp_path / "a", [Scene(kind="gauss", size=1, bow_mm=2.0, angle_deg=6)]).cards[0]
    # a parabola of height 2 over -1..1 leaves 2 sqrt(4 / 45) rms = 0.60 mm; the ends of the card are cut off
    assert 0.45 < bent.card.flatness_mm < 0.65
    flat = measured(tmp_path / "b", [Scene(kind="gauss", size=1)]).cards[0]
    assert flat.card.flatness_mm < 0.1 and flat.flying_share < 0.002 and flat.wild_share < 0.001
    assert flat.storage_mm == pytest.approx(0.1) and flat.grain_mm == pytest.approx(0.1)
    flying = measured(tmp_path / "c", [Scene(kind="gauss", size=1, flying=0.05)]).cards[0]
    # 5 % planted where the card's edge is within 2 sd of 2 px, uniform between card and wall
    assert 0.008 < flying.flying_share < 0.06


def test_a_coarse_grain_is_told(tmp_path: Path) -> None:
    scene = Scene(kind="gauss", size=1)
    depth = np.round(readings(scene, np.random.default_rng(5)) / 0.5) * 0.5
    found = measure_device([load_frame(write_card(tmp_path, "c", depth))])
    assert found.cards[0].grain_mm == pytest.approx(0.5)
    assert "readings lie 0.5 mm apart" in device_text(found)


@pytest.mark.slow
def test_moving_the_edge_or_turning_the_map_changes_nothing(tmp_path: Path) -> None:
    """A map on its side holds the same card: the same blur to the fit's own stop rule."""
    depth = readings(Scene(kind="gauss", size=1.5), np.random.default_rng(8))
    upright, lying = (
        measure_device([load_frame(write_card(tmp_path, name, d))])
        for name, d in (("a", depth), ("b", np.ascontiguousarray(depth.T[::-1])))
    )
    assert upright.verdict.filter == lying.verdict.filter == "gauss"
    assert abs(upright.smoothing_px - lying.smoothing_px) < 0.005
    assert abs(upright.nearest.card.noise_mm - lying.nearest.card.noise_mm) < 0.005
