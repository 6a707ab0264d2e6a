"""Corner names: rows, sides and mirror."""

from __future__ import annotations

import pytest

from bite.geometry.teeth import (
    CORNERS,
    DISTAL_CORNERS,
    LOWER_CENTRAL,
    LOWER_CORNERS,
    PARTS,
    UPPER_CENTRAL,
    UPPER_CORNERS,
    Part,
    is_upper,
    mirrored,
)


def test_mirror_swaps_sides_and_keeps_rows() -> None:
    for corner in CORNERS:
        other = mirrored(corner)
        assert other in CORNERS
        assert other != corner
        assert mirrored(other) == corner
        assert is_upper(other) == is_upper(corner)
        assert other[-1] == corner[-1]


@pytest.mark.parametrize("row", [UPPER_CORNERS, LOWER_CORNERS])
def test_rows_run_from_left_to_right_of_the_picture(row) -> None:
    # the performer's right (teeth 1x and 4x) stands on the left, so a mirrored row reads backwards
    assert [mirrored(corner) for corner in row] == list(reversed(row))
    assert row[0][0] in "14"
    assert row[0][-1] == "d"


def test_rows_and_distal_corners() -> None:
    assert all(is_upper(corner) for corner in UPPER_CORNERS)
    assert not any(is_upper(corner) for corner in LOWER_CORNERS)
    assert set(DISTAL_CORNERS) == {corner for corner in CORNERS if corner.endswith("d")}


def test_label_order_is_fixed() -> None:
    assert PARTS == (Part.SKIN, Part.UPPER, Part.LOWER, Part.OTHER)


def test_crown_widths_lie_inside_published_means() -> None:
    # reference/crown_widths.toml: upper 8.06 to 9.24 mm, lower 5.0 to 5.49 mm
    assert 8.06 < UPPER_CENTRAL.mean_mm < 9.24
    assert 5.0 < LOWER_CENTRAL.mean_mm < 5.49
