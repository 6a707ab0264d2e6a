from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bite.annotate.state.view import Area, ViewTransform, fit_view

places = st.tuples(st.floats(-50, 5000), st.floats(-50, 4000))
views = st.builds(ViewTransform, st.floats(0.05, 60), st.floats(-2e4, 2e4), st.floats(-2e4, 2e4))
# doubles keep 16 digits; places and shifts here stay below 1e6 px
EXACT_PX = 1e-6


@given(views, places)
def test_there_and_back(view: ViewTransform, place: tuple[float, float]) -> None:
    back = view.to_picture(view.to_screen(place))
    assert hypot(back[0] - place[0], back[1] - place[1]) < EXACT_PX


@given(views, places, st.floats(0.2, 5))
def test_zoom_keeps_the_place_under_the_cursor(
    view: ViewTransform, at: tuple[float, float], factor: float
) -> None:
    before, after = view.to_picture(at), view.zoomed(factor, at).to_picture(at)
    assert hypot(after[0] - before[0], after[1] - before[1]) < EXACT_PX * max(1.0, hypot(*before))


@given(views, st.integers(1, 5000), st.integers(1, 5000))
def test_some_of_the_picture_stays_in_sight(view: ViewTransform, width: int, height: int) -> None:
    area = Area(0, 0, 950, 800)
    kept = view.kept_in_sight(width, height, area)
    left, top = kept.to_screen((-0.5, -0.5))
    right, bottom = kept.to_screen((width - 0.5, height - 0.5))
    assert right > area.left and left < area.right and bottom > area.top and top < area.bottom
    assert kept.scale == view.scale


@pytest.mark.parametrize(("width", "height"), [(4000, 3000), (3000, 4000), (100, 80), (1, 1)])
def test_fit_shows_all_and_touches_two_sides(width: int, height: int) -> None:
    area = Area(0, 0, 950, 800)
    view = fit_view(width, height, area)
    left, top = view.to_screen((-0.5, -0.5))
    right, bottom = view.to_screen((width - 0.5, height - 0.5))
    assert left >= -0.5 - 1e-9 and top >= -0.5 - 1e-9
    assert right <= 949.5 + 1e-9 and bottom <= 799.5 + 1e-9
    assert max((right - left) / 950, (bottom - top) / 800) == pytest.approx(1.0)
