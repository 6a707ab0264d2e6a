"""The lip line read from computed pictures, whose true lips are known."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from bite.evidence.depth.for_fit import depth_block
from bite.evidence.lips.edges import find_lip_edges
from bite.evidence.lips.line import lip_block
from bite.evidence.lips.rims import lip_rims
from bite.evidence.model.head import solved_head
from bite.files.bundle import BiteFrame, LoadedView
from bite.fit.head import Head
from bite.fit.lip_block import LipBlock
from bite.fit.offset import fit_offset
from bite.fit.parameters import COUNT, make_prior
from bite.geometry.rigid import Rigid, frozen
from demo_bite.scene import (
    THIN_STRIP,
    Detail,
    PictureSettings,
    Sensor,
    Settings,
    SimulatedFrame,
    SolveError,
    as_bite_frame,
    simulate,
)


@cache
def thin_strip(slide_mm: float = 0.0) -> tuple[SimulatedFrame, BiteFrame, Head]:
    """A thin strip of teeth, its solved skin wrong by 0.28 mm rms, seen through a blurred depth map."""
    picture = PictureSettings(width_px=640, height_px=480, focal_px=1400.0)
    settings = Settings(
        t_mm=0.8,
        mouth=THIN_STRIP,
        picture=picture,
        sensor=Sensor(smoothing_px=2.5),
        solve=SolveError(waves_mm=0.28, lip_slide_mm=slide_mm),
        detail=Detail.COARSE,
    )
    made = simulate(np.random.default_rng(1002), settings)
    frame = as_bite_frame(made)
    solved = solved_head(frame)
    assert solved is not None
    return made, frame, solved.head


def true_head() -> Head:
    made, _, head = thin_strip()
    corners = {code: made.true_mm[k] for code, k in made.corner_vertices.items()}
    return replace(head, points_mm=made.true_mm, corners=corners)


def read(head: Head, view: LoadedView | None = None) -> LipBlock | None:
    _, frame, solved = thin_strip()
    view = view or frame.views[0]
    depth = depth_block(frame, solved)
    assert depth is not None
    return lip_block(view, head, depth)


def off_mm(block: LipBlock | None) -> np.ndarray:
    assert block is not None
    return block.off_px * block.mm_per_px


@pytest.mark.slow
def test_the_true_lips_are_found_where_they_are() -> None:
    block = read(true_head())
    assert block is not None and block.upper.sum() >= 10 and (~block.upper).sum() >= 10
    for lip in (block.upper, ~block.upper):
        # a pixel is 0.21 mm; lips of thin strips are off by 0.03 mm (sd) as a whole and 0.04 mm by place
        assert np.median(off_mm(block)[lip]) == pytest.approx(0.0, abs=0.08)
        assert np.sqrt(np.mean(off_mm(block)[lip] ** 2)) < 0.12


@pytest.mark.slow
def test_lips_solved_half_a_millimetre_too_high_are_seen_to_be() -> None:
    head = true_head()
    moved = replace(head, points_mm=head.points_mm + np.where(head.with_teeth[:, None], 0.0, 0.5 * head.up))
    block, still = read(moved), read(head)
    assert block is not None and still is not None
    for upper, sign in ((True, -1.0), (False, 1.0)):
        change = np.median(off_mm(block)[block.upper == upper]) - np.median(
            off_mm(still)[still.upper == upper]
        )
        # the rim's own pixel is a quarter of a millimetre, found to a small part of it
        assert change == pytest.approx(sign * 0.5, abs=0.08)


@pytest.mark.slow
def test_a_grey_picture_shows_them_too() -> None:
    _, frame, _ = thin_strip()
    view = frame.views[0]
    grey = np.repeat(view.image.mean(2, keepdims=True).astype(np.uint8), 3, axis=2)
    block = read(true_head(), replace(view, image=grey))
    # brightness alone takes the shadow beside an edge for part of it: 0.2 mm are allowed
    assert np.abs(np.median(off_mm(block))) < 0.2


@pytest.mark.slow
def test_a_head_that_lies_on_its_side() -> None:
    """The picture and its camera turned by a quarter show the same lips."""
    _, frame, _ = thin_strip()
    view = frame.views[0]
    plain = replace(view.camera, distortion=frozen(np.zeros(5)))
    matrix = np.array(plain.matrix)
    # a pixel (x, y) lands on (height - 1 - y, x)
    turned = np.array(
        [
            [matrix[1, 1], 0.0, plain.height_px - 1 - matrix[1, 2]],
            [0.0, matrix[0, 0], matrix[0, 2]],
            [0.0, 0.0, 1.0],
        ]
    )
    quarter = Rigid(frozen([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]))
    lying = replace(
        plain,
        width_px=plain.height_px,
        height_px=plain.width_px,
        matrix=frozen(turned),
        camera_from_reference=quarter @ plain.camera_from_reference,
    )
    upright = read(true_head(), replace(view, camera=plain))
    on_side = read(
        true_head(), replace(view, camera=lying, image=np.ascontiguousarray(np.rot90(view.image, -1)))
    )
    assert upright is not None and on_side is not None
    assert on_side.key.tolist() == upright.key.tolist()
    # the pieces may be averaged over other pixels
    assert np.abs(off_mm(on_side) - off_mm(upright)).max() < 0.1


@pytest.mark.slow
def test_nothing_is_read_where_nothing_can_be() -> None:
    _, frame, _ = thin_strip()
    view, head = frame.views[0], true_head()
    blank = np.full_like(view.image, 120)
    assert read(head, replace(view, image=blank)) is None
    noise = np.random.default_rng(1).normal(120, 3, view.image.shape).astype(np.uint8)
    assert read(head, replace(view, image=noise)) is None
    coarse = replace(view, camera=view.camera.scaled(0.25), image=view.image[2::4, 2::4])
    assert read(head, coarse) is None


@pytest.mark.slow
def test_a_rim_over_the_gum_is_no_lip_line() -> None:
    """Six millimetres above the edge a crown may have ended."""
    head = true_head()
    high = {code: at - 5.0 * head.up for code, at in head.corners.items()}
    camera = thin_strip()[1].views[0].camera
    assert [rim.upper for rim in lip_rims(camera, head)] == [True, False]
    assert not any(rim.upper for rim in lip_rims(camera, replace(head, corners=high)))


def test_an_edge_is_found_between_pixels() -> None:
    """Red over white, blurred over a pixel and a half, at a known fraction of a pixel."""
    from scipy.special import ndtr

    rows = np.arange(60.0)
    share = ndtr((rows - 30.3) / 1.5)[:, None, None]
    picture = np.broadcast_to(
        (1 - share) * np.array([150.0, 70, 65]) + share * np.array([215.0, 205, 180]), (60, 80, 3)
    ).astype(np.uint8)
    origins = np.column_stack([np.arange(10.0, 70.0), np.full(60, 31.0)])
    found = find_lip_edges(
        picture,
        origins,
        np.tile([0.0, -1.0], (60, 1)),
        room_mm=np.full(60, 3.0),
        spacing_mm=0.2,
        mm_per_px=0.2,
    )
    # whole levels of 8 bits over a step of 80: a hundredth of a pixel
    assert found == pytest.approx(np.full(60, 0.7), abs=0.05)


def smile(grey: bool, rng: np.random.Generator, folds_mm: float = 0.0) -> np.ndarray:
    """Skin, 5 mm of lip, a shadow that fades over 0.8 mm of enamel; 0.25 mm a pixel, the edge at row 40."""
    from scipy.ndimage import gaussian_filter

    down_mm = 0.25 * (np.arange(80.0)[:, None] - 40.0) + np.zeros((1, 100))
    if folds_mm:
        down_mm = down_mm - gaussian_filter(rng.normal(size=100), 3.0)[None] * folds_mm * 3.3
    lip, skin = (down_mm < 0.0)[..., None], (down_mm < -5.0)[..., None]
    enamel = np.array([205.0, 195, 172]) * (1.0 - 0.35 * np.exp(-down_mm.clip(0) / 0.8))[..., None]
    colours = np.where(skin, (200.0, 160, 140), np.where(lip, (150.0, 80, 80), enamel))
    colours = gaussian_filter(colours, (1.0, 1.0, 0.0)) + rng.normal(0.0, 2.0, colours.shape)
    stored = np.clip(colours, 0, 255).astype(np.uint8)
    return np.repeat(stored[..., 1:2], 3, axis=2) if grey else stored


def edges_mm(picture: np.ndarray, start_mm: float) -> np.ndarray:
    origins = np.column_stack([np.arange(10.0, 90.0), np.full(80, 40.0 - start_mm / 0.25)])
    outward = np.tile([0.0, -1.0], (80, 1))
    room = np.full(80, 5.0 + start_mm)
    off_px = find_lip_edges(picture, origins, outward, room_mm=room, spacing_mm=0.25, mm_per_px=0.25)
    return start_mm + 0.25 * off_px


@pytest.mark.parametrize("grey", [False, True])
@pytest.mark.parametrize("start_mm", [-1.6, -1.2, -0.6, 0.6, 1.2, 1.6])
def test_a_lip_is_found_from_wherever_it_was_solved(start_mm: float, grey: bool) -> None:
    """Above it lies the border of its red, below it a shadow: neither is its edge, nor is the start."""
    found = edges_mm(smile(grey, np.random.default_rng(3)), start_mm)
    assert np.isfinite(found).mean() > 0.9
    assert np.nanmedian(found) == pytest.approx(0.0, abs=0.2)


def test_an_edge_that_runs_up_and_down_is_no_lip_line() -> None:
    assert np.isfinite(edges_mm(smile(False, np.random.default_rng(3), folds_mm=0.2), 0.0)).any()
    assert not np.isfinite(edges_mm(smile(False, np.random.default_rng(3), folds_mm=0.9), 0.0)).any()


@pytest.mark.slow
def test_the_lip_line_mends_a_lip_that_was_solved_too_high() -> None:
    from bite.evidence.clicks.for_fit import corner_block

    made, frame, head = thin_strip(0.6)
    depth, corners = depth_block(frame, head), corner_block(frame, head)
    assert depth is not None and corners is not None
    lips = lip_block(frame.views[0], head, depth)
    assert lips is not None
    prior = make_prior(enamel_bias_mm=0.0, enamel_bias_sd_mm=0.02)
    without, with_lips = fit_offset([depth, corners], prior), fit_offset([depth, corners, lips], prior)
    upper = COUNT + depth.skin.lips.start
    slide, slide_with = (fit.parameters[upper] for fit in (without, with_lips))
    sd, sd_with = (float(np.sqrt(fit.solution.bread[upper, upper])) for fit in (without, with_lips))
    # the lip must come down by 0.6 mm: both see it, the picture makes it surer
    assert abs(slide_with + 0.6) < 3.0 * sd_with and abs(slide + 0.6) < 3.0 * sd
    assert slide_with < -0.3 and sd_with < sd
    assert with_lips.offset.sd < without.offset.sd
    # held still, the lip took the offset of such strips off by a quarter of a millimetre on average
    assert abs(with_lips.offset.value - made.truth.t_mm) < min(0.25, 3.0 * with_lips.offset.sd)
    assert set(with_lips.solution.evidence_share) == {"depth", "corners", "lips"}
    total = sum(with_lips.solution.evidence_share.values()) + with_lips.solution.prior_share
    assert total == pytest.approx(1.0, abs=1e-6)
