"""A photograph in axes: where its pixels come to lie, held against matplotlib's own resampling."""

import numpy as np
import pytest

from bite.plots.style import blank_figure, house_style


def drawn(pixels: np.ndarray, extent, xlim, ylim, *, own: bool) -> np.ndarray:
    return on_axes(pixels, extent, xlim, ylim, own=own)[0]


def on_axes(pixels: np.ndarray, extent, xlim, ylim, *, own: bool):
    from bite.plots.placed_picture import PlacedPicture

    with house_style():
        figure = blank_figure(2.37, 1.83)
        axes = figure.add_axes((0.113, 0.087, 0.771, 0.832))
        axes.set_axis_off()
        axes.set(xlim=xlim, ylim=ylim)
        if own:
            axes.add_image(PlacedPicture(axes, pixels, extent))
        else:
            axes.imshow(pixels, extent=extent, interpolation="bilinear", aspect="auto")
            axes.set(xlim=xlim, ylim=ylim)
        figure.canvas.draw()
    return np.asarray(figure.canvas.buffer_rgba())[..., :3].astype(int), axes


def between_pixels(pixels: np.ndarray, extent, axes, shape) -> tuple[np.ndarray, np.ndarray]:
    """Interpolate a picture at the centres of paper's pixels; and tell which of them lie on it."""
    height, width = shape[:2]
    row, column = np.mgrid[:height, :width]
    at = np.stack([column + 0.5, height - row - 0.5], -1).reshape(-1, 2)
    x, y = axes.transData.inverted().transform(at).T.reshape(2, height, width)
    low, high = axes.bbox.get_points()
    on = ((at >= low) & (at <= high)).all(-1).reshape(height, width)
    rows, columns = pixels.shape[:2]
    u = (x - extent[0]) / (extent[1] - extent[0]) * columns - 0.5
    v = (y - extent[3]) / (extent[2] - extent[3]) * rows - 0.5
    on &= (u > -0.5) & (u < columns - 0.5) & (v > -0.5) & (v < rows - 0.5)
    u, v = np.clip(u, 0, columns - 1.001), np.clip(v, 0, rows - 1.001)
    i, j = v.astype(int), u.astype(int)
    a, b = (v - i)[..., None], (u - j)[..., None]
    upper = (1 - b) * pixels[i, j] + b * pixels[i, j + 1]
    return (1 - a) * upper + a * ((1 - b) * pixels[i + 1, j] + b * pixels[i + 1, j + 1]), on


def grown(mask: np.ndarray) -> np.ndarray:
    wide = np.pad(mask, 1)
    return sum(wide[a : a + mask.shape[0], b : b + mask.shape[1]] for a in range(3) for b in range(3)) > 0


def smooth_picture(height: int, width: int) -> np.ndarray:
    y, x = np.mgrid[:height, :width]
    waves = [127 + 100 * np.sin(x / 9.0 + phase) * np.cos(y / 7.0) for phase in (0.0, 1.0, 2.0)]
    return np.stack(waves, -1).astype(np.uint8)


@pytest.mark.parametrize(
    ("xlim", "ylim"),
    [((9.7, 80.2), (66.1, 12.4)), ((-0.5, 99.5), (69.5, -0.5)), ((-20.0, 70.0), (80.0, 10.0))],
    ids=["inside", "whole", "beyond"],
)
def test_pixels_lie_where_matplotlib_puts_them(xlim, ylim) -> None:
    pixels, extent = smooth_picture(70, 100), (-0.5, 99.5, 69.5, -0.5)
    ours, axes = on_axes(pixels, extent, xlim, ylim, own=True)
    exact, on = between_pixels(pixels, extent, axes, ours.shape)
    # OpenCV places to 1/32 px, where the steepest slope is 14 levels a pixel: half a level, and rounding
    assert np.abs(ours - exact)[on].max() <= 1.5
    drawn_on = (ours < 255).any(-1)
    assert drawn_on[on].all()
    assert not (drawn_on & ~grown(on)).any()


def test_pixels_are_those_of_matplotlib() -> None:
    pixels, extent = smooth_picture(70, 100), (-0.5, 99.5, 69.5, -0.5)
    ours, theirs = (drawn(pixels, extent, (9.7, 80.2), (66.1, 12.4), own=own) for own in (True, False))
    # 3.8 places to some 1/4 of a pixel, and covers one more pixel of paper to the right
    inside = ~grown((ours == 255).all(-1))
    assert np.abs(ours - theirs)[inside].max() <= 4


def test_a_coarse_picture_is_as_wide_as_its_extent_says() -> None:
    pixels = np.zeros((10, 10, 3), np.uint8)
    extent = (100.0, 200.0, 150.0, 50.0)  # 10 units a pixel
    shown = drawn(pixels, extent, (50.0, 250.0), (200.0, 0.0), own=True)
    dark = (shown < 128).all(-1)
    # half of the axes each way, to a pixel of paper at either end
    width, height = 2.37 * 200 * 0.771 / 2, 1.83 * 200 * 0.832 / 2
    assert dark.any(0).sum() == pytest.approx(width, abs=2)
    assert dark.any(1).sum() == pytest.approx(height, abs=2)


def test_rows_are_not_upside_down() -> None:
    pixels = np.full((40, 40, 3), 255, np.uint8)
    pixels[:10] = 0
    shown = drawn(pixels, (-0.5, 39.5, 39.5, -0.5), (-0.5, 39.5), (39.5, -0.5), own=True)
    assert np.flatnonzero((shown < 128).all(-1).any(1)).mean() < 0.35 * len(shown)
