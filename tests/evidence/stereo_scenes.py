"""Rectified pairs whose disparity is known, made from one fine texture."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates


def pair(shape, disparity, *, seed=1, grain_px=1.2, contrast=12.0, noise=1.0, level=128.0, gain=1.0):
    """Left and right pictures, grey levels: right is the texture, left sees it shifted by the disparity.

    ``disparity`` is a number or an array of the left picture's shape. ``contrast`` may be an array too.
    """
    rng = np.random.default_rng(seed)
    height, width = shape
    margin, over = 60, 4
    fine = gaussian_filter(
        rng.normal(size=(height, (width + 2 * margin) * over)), (grain_px, grain_px * over), mode="wrap"
    )
    fine /= fine.std()
    rows, columns = np.mgrid[:height, :width].astype(float)
    shift = np.broadcast_to(np.asarray(disparity, float), shape)

    def read(at):
        return map_coordinates(fine, [rows, (at + margin) * over], order=3, mode="wrap")

    left = level + contrast * read(columns - shift) + rng.normal(0, noise, shape)
    right = level + gain * (contrast * read(columns)) + rng.normal(0, noise, shape)
    return np.rint(left), np.rint(right)


def robust_sd(values):
    values = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def textured_frame(seed, *, enamel=0.12, skin=0.12, views=2, t_mm=1.0, baseline_mm=60.0, **shot):
    """A simulated frame whose pictures show nothing but texture on skin and teeth; its simulation too.

    Far quicker than a shaded picture, and free of everything that moves with the view.
    """
    from dataclasses import replace

    from bite.files.frame import StereoEntry
    from bite.geometry.render import Grid, render
    from demo_bite.scene import Detail, Sensor, Settings, Shot, SolveError, Texture, as_bite_frame, simulate
    from demo_bite.scene.texture import texture_factor

    rng = np.random.default_rng(seed)
    sensor = Sensor(focal_px=1500.0, width_px=540, height_px=620)
    settings = Settings(
        t_mm=t_mm,
        sensor=sensor,
        shot=Shot(views=views, baseline_mm=baseline_mm, distance_mm=300.0, **shot),
        solve=SolveError(waves_mm=0.0, shift_sd_mm=0.1, turn_sd_deg=0.1),
        detail=Detail.COARSE,
        depth=False,
    )
    simulated = simulate(rng, settings)
    frame = as_bite_frame(simulated)
    seen_by = []
    for view in frame.views:
        grid = Grid.of(view.camera)
        points = view.camera.camera_from_reference.apply(simulated.true_mm)
        seen = render(grid, points, simulated.faces)
        hit = seen.face >= 0
        rays = np.concatenate([grid.slopes[hit], np.ones((int(hit.sum()), 1))], axis=1)
        place = view.camera.camera_from_reference.inverse().apply(rays * seen.depth_mm[hit][:, None])
        at = simulated.truth.camera_from_head.inverse().apply(place)
        part = simulated.face_part[seen.face[hit]]
        grey = np.full(hit.shape, 20.0)
        grey[hit] = 110.0 * texture_factor(Texture(skin, enamel), 7, at, part)
        picture = np.clip(np.rint(grey + rng.normal(0, 1.0, grey.shape)), 0, 255).astype(np.uint8)
        seen_by.append(replace(view, image=np.repeat(picture[..., None], 3, axis=2)))
    names = tuple(view.name for view in frame.views[:2])
    entry = replace(frame.file, depth=StereoEntry(names) if views > 1 else None)
    return replace(frame, file=entry, views=tuple(seen_by)), simulated
