"""Snapping on drawn teeth whose outline is known exactly: neighbours, rounded angles, blur, noise."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.enamel.corner_snap import FARTHEST_SHARE, NoSnap, Snap, snap_corner
from bite.files.corners import CornerPoint, CornerState

OVER = 4
"""An outline is placed to an eighth of a pixel, and averages out along it."""
CROWN_PX = 30.0
SIZE = (120, 200)


@dataclass(frozen=True)
class Drawn:
    """A picture and where its angles are: outline on the bisector of edge and side."""

    picture: np.ndarray
    corners: dict[str, tuple[float, float]]


def rounded_box(
    x: np.ndarray, y: np.ndarray, left: float, right: float, edge: float, radii: tuple[float, float]
) -> np.ndarray:
    """A crown with its edge below: straight sides, two rounded angles."""
    inside = (x >= left) & (x <= right) & (y <= edge)
    for radius, near, way in ((radii[0], left, 1.0), (radii[1], right, -1.0)):
        cx, cy = near + way * radius, edge - radius
        corner = ((x - cx) * way < 0) & (y > cy)
        inside &= ~(corner & (np.hypot(x - cx, y - cy) > radius))
    return inside


def drawn_teeth(
    seed: int, *, tilt_deg: float = 0.0, blur_px: float = 0.9, noise: float = 1.5, gap: bool = False
) -> Drawn:
    """Four upper crowns with dark lines between, in front of a grey lower row or a dark gap."""
    rng = np.random.default_rng(seed)
    high, wide = SIZE
    fine = np.indices((high * OVER, wide * OVER), float)
    y, x = ((axis + 0.5) / OVER - 0.5 for axis in fine)
    turn = np.deg2rad(tilt_deg)
    middle = np.array([100.0 + rng.uniform(-0.5, 0.5), 60.0 + rng.uniform(-0.5, 0.5)])
    across, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    u = (x - middle[0]) * across[0] + (y - middle[1]) * across[1]
    v = (x - middle[0]) * down[0] + (y - middle[1]) * down[1]
    picture = np.full(u.shape, 30.0 if gap else 160.0)
    if not gap:
        picture[np.abs(u % 19.0 - 9.5) < 0.3] = 130.0
        picture[v < 1.6] = 120.0
    mesial, distal = 1.6, 4.2
    spans = {"11": (-0.2 - CROWN_PX, -0.2), "21": (0.2, 0.2 + CROWN_PX)}
    picture[v < -8.0] = 150.0  # the dark between crowns is not black: the next row back shines through
    for left, right, edge, radii in (
        (*spans["11"], 0.0, (distal, mesial)),
        (*spans["21"], 0.0, (mesial, distal)),
        (-0.6 - CROWN_PX - 23.0, -0.6 - CROWN_PX, -2.5, (5.0, 2.5)),
        (0.6 + CROWN_PX, 0.6 + CROWN_PX + 23.0, -2.5, (2.5, 5.0)),
    ):
        picture[rounded_box(u, v, left, right, edge, radii)] = 205.0
    small = ndimage.gaussian_filter(picture, blur_px * OVER).reshape(high, OVER, wide, OVER).mean((1, 3))
    small = np.clip(small + rng.normal(0, noise, small.shape), 0, 255)
    corners = {}
    back = 1 - np.sqrt(0.5)
    for code, at, radius, inward in (
        ("11d", spans["11"][0], distal, 1.0),
        ("11m", spans["11"][1], mesial, -1.0),
        ("21m", spans["21"][0], mesial, 1.0),
        ("21d", spans["21"][1], distal, -1.0),
    ):
        place = middle + (at + inward * back * radius) * across - back * radius * down
        corners[code] = (float(place[0]), float(place[1]))
    return Drawn(np.repeat(np.round(small).astype(np.uint8)[:, :, None], 3, 2), corners)


def clicked(drawn: Drawn, rng: np.random.Generator, sd: dict[str, float]) -> dict[str, CornerPoint]:
    return {
        code: CornerPoint(
            CornerState.SEEN, *(float(v) for v in np.array(at) + rng.normal(0, sd[code[-1]], 2))
        )
        for code, at in drawn.corners.items()
    }


@pytest.mark.slow
@pytest.mark.parametrize("gap", [False, True])
@pytest.mark.parametrize("tilt_deg", [0.0, -9.0])
def test_snapping_beats_the_raw_click_and_says_how_far_it_moved(gap: bool, tilt_deg: float) -> None:
    """Clicks scatter as assumed of a careful person: 0.8 px mesial, 1.2 px distal."""
    raw, snapped, offered, asked = [], [], 0, 0
    rng = np.random.default_rng(8)
    for seed in range(3):
        drawn = drawn_teeth(seed, tilt_deg=tilt_deg, gap=gap, blur_px=(0.6, 0.9, 1.2)[seed % 3])
        for _ in range(2):
            points = clicked(drawn, rng, {"d": 1.2, "m": 0.8})
            for code in points:
                asked += 1
                found = snap_corner(drawn.picture, points, code)
                if isinstance(found, NoSnap):
                    continue
                offered += 1
                at = np.array([points[code].x_px, points[code].y_px])
                raw.append(at - drawn.corners[code])
                snapped.append(np.array(found.place_px) - drawn.corners[code])
                assert np.hypot(*(np.array(found.place_px) - at)) == pytest.approx(found.moved_px)
                assert found.moved_px <= FARTHEST_SHARE * 1.1 * CROWN_PX
                # the error is covered by what it says of itself
                assert np.abs(snapped[-1]).max() < 4 * found.sd_px
    raw_rms, snapped_rms = (float(np.sqrt(np.mean(np.square(v)))) for v in (raw, snapped))
    assert offered > 0.6 * asked
    assert snapped_rms < 0.6 * raw_rms, (snapped_rms, raw_rms)


def test_the_neighbour_does_not_draw_it_away() -> None:
    """A click 1 px off, the next crown's angle 5 px on: the place stays with its own tooth."""
    drawn = drawn_teeth(1)
    points = {code: CornerPoint(CornerState.SEEN, *at) for code, at in drawn.corners.items()}
    for code, way in (("11d", -1.0), ("21d", 1.0)):
        x, y = drawn.corners[code]
        found = snap_corner(drawn.picture, {**points, code: CornerPoint(CornerState.SEEN, x + way, y)}, code)
        assert isinstance(found, Snap)
        assert np.hypot(found.place_px[0] - x, found.place_px[1] - y) < 0.8


def test_an_angle_that_cannot_be_seen_is_offered_with_a_wider_sd() -> None:
    """Something as bright as the tooth lies behind the angle: edge and side still tell where it is."""
    drawn = drawn_teeth(1)
    points = {code: CornerPoint(CornerState.SEEN, *at) for code, at in drawn.corners.items()}
    plain = snap_corner(drawn.picture, points, "11d")
    x, y = drawn.corners["11d"]
    rows, columns = np.indices(SIZE)
    hidden = np.hypot(columns - x, rows - y) < 6.0
    found = snap_corner(np.where(hidden[..., None], 205, drawn.picture).astype(np.uint8), points, "11d")
    assert isinstance(plain, Snap) and isinstance(found, Snap)
    assert found.sd_px > 1.3 * plain.sd_px
    assert np.hypot(found.place_px[0] - x, found.place_px[1] - y) < 2.0 * found.sd_px


def test_refuses_where_there_is_no_tooth() -> None:
    rng = np.random.default_rng(4)
    offered = 0
    for _ in range(20):
        noise = ndimage.gaussian_filter(rng.normal(0, 1, (*SIZE, 1)), (1.5, 1.5, 0))
        picture = np.repeat(np.clip(150 + 40 * noise / noise.std(), 0, 255).astype(np.uint8), 3, 2)
        x, y = rng.uniform(50, 110), rng.uniform(40, 80)
        points = {
            "11d": CornerPoint(CornerState.SEEN, x, y),
            "21d": CornerPoint(CornerState.SEEN, x + 2 * CROWN_PX, y),
        }
        offered += isinstance(snap_corner(picture, points, "11d"), Snap)
    assert offered <= 2


@pytest.mark.parametrize(
    ("points", "part"),
    [
        ({}, "not clicked"),
        ({"11d": CornerPoint(CornerState.COVERED, 90.0, 60.0)}, "covered"),
        ({"11d": CornerPoint(CornerState.SEEN, 90.0, 60.0)}, "click 21d too"),
        (
            {
                "11d": CornerPoint(CornerState.SEEN, 90.0, 60.0),
                "21d": CornerPoint(CornerState.SEEN, 100.0, 60.0),
            },
            "too small",
        ),
        (
            {
                "11d": CornerPoint(CornerState.SEEN, 4.0, 60.0),
                "21d": CornerPoint(CornerState.SEEN, 80.0, 60.0),
            },
            "out of the picture",
        ),
    ],
)
def test_says_why_not(points: dict[str, CornerPoint], part: str) -> None:
    found = snap_corner(drawn_teeth(0).picture, points, "11d")
    assert isinstance(found, NoSnap)
    assert part in found.why


def test_a_flat_picture_is_refused() -> None:
    points = {
        "11d": CornerPoint(CornerState.SEEN, 70.0, 60.0),
        "21d": CornerPoint(CornerState.SEEN, 130.0, 60.0),
    }
    assert isinstance(snap_corner(np.full((*SIZE, 3), 128, np.uint8), points, "11d"), NoSnap)


def test_lower_teeth_are_refused() -> None:
    points = {
        "41d": CornerPoint(CornerState.SEEN, 70.0, 60.0),
        "31d": CornerPoint(CornerState.SEEN, 130.0, 60.0),
    }
    found = snap_corner(drawn_teeth(0).picture, points, "41d")
    assert isinstance(found, NoSnap)
    assert "lower teeth" in found.why


def test_parts_of_a_line_that_left_the_search_are_no_exception():
    """The whole line may be found at the end of what is searched and tilted out of it."""
    from bite.evidence.enamel.tooth_outline import STEP_PX, OutlineLine, edge_line

    offsets = np.arange(-6.0, 6.0 + 1e-9, STEP_PX)
    along = np.linspace(5.0, 15.0, 12)
    lines = np.tile(np.where(offsets < 0, 200.0, 60.0), (12, 1))
    outside = OutlineLine(at=9.0, slope=0.3, signal=8.0)
    found = edge_line(lines, along, offsets, np.ones(12, bool), 3.0, near=outside)
    assert found.signal == 0.0
