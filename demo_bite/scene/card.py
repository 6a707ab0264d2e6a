"""A flat card before a wall, as the invented sensor reads it: what `bite device` is tried on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from bite.files.atomic import write_bytes, write_text

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 160, 120, 220.0
_RAYS = 8


@dataclass(frozen=True, slots=True)
class Card:
    """One shot of the card. Noise is that of 0.4 mm at 400 mm, growing with the square of the distance."""

    name: str
    seed: int
    card_mm: float
    wall_mm: float
    angle_deg: float
    smoothing_px: float = 2.0
    noise_mm_at_400: float = 0.4
    correlation_px: float = 1.5
    holes: float = 0.01
    unit_mm: float = 0.1


CARDS = (
    Card("card-350", seed=350, card_mm=350.0, wall_mm=450.0, angle_deg=5.0),
    Card("card-500", seed=500, card_mm=500.0, wall_mm=620.0, angle_deg=-6.5),
)


def card_map(card: Card) -> np.ndarray:
    """Give the map as stored, 0 where there is no reading: the mean over 8 x 8 rays a pixel, smoothed."""
    rng = np.random.default_rng(card.seed)
    place = (np.arange(_RAYS) + 0.5) / _RAYS - 0.5
    x = (np.arange(WIDTH_PX)[:, None] + place).ravel()
    y = (np.arange(HEIGHT_PX)[:, None] + place).ravel()
    u, v = np.meshgrid((x - WIDTH_PX / 2) / FOCAL_PX, (y - HEIGHT_PX / 2) / FOCAL_PX)
    angle = np.deg2rad(card.angle_deg)
    on_card = (u - 0.013) * np.cos(angle) + v * np.sin(angle) < 0
    near = card.card_mm / (1 - 0.06 * u + 0.04 * v)
    far = card.wall_mm / (1 + 0.03 * u + 0.02 * v)
    rays = np.where(on_card, near, far).reshape(HEIGHT_PX, _RAYS, WIDTH_PX, _RAYS)
    depth = gaussian_filter(rays.mean(axis=(1, 3)), card.smoothing_px, mode="nearest")
    noise = gaussian_filter(rng.standard_normal(depth.shape), card.correlation_px, mode="wrap")
    depth += card.noise_mm_at_400 * (depth / 400) ** 2 * noise / noise.std()
    stored = np.round(depth / card.unit_mm)
    stored[rng.random(depth.shape) < card.holes] = 0
    return stored.astype(np.uint16)


def write_cards(folder: Path) -> None:
    """Write each card into a folder of its own."""
    for card in CARDS:
        own = folder / card.name
        own.mkdir(parents=True, exist_ok=True)
        stored = card_map(card)
        grey = np.where(stored < 10 * 0.5 * (card.card_mm + card.wall_mm), 200, 90).astype(np.uint8)
        for name, image in (("front.depth.png", stored), ("front.png", grey)):
            write_bytes(own / name, cv2.imencode(".png", image)[1].tobytes())
        write_text(own / "front.camera.yaml", _camera())
        write_text(own / f"{card.name}.bite.toml", _frame(card))


def _camera() -> str:
    matrix = f"{FOCAL_PX}, 0.0, {WIDTH_PX / 2}, 0.0, {FOCAL_PX}, {HEIGHT_PX / 2}, 0.0, 0.0, 1.0"
    return (
        f"%YAML:1.0\n---\nimage_width: {WIDTH_PX}\nimage_height: {HEIGHT_PX}\n"
        f"camera_matrix: !!opencv-matrix\n   rows: 3\n   cols: 3\n   dt: d\n   data: [ {matrix} ]\n"
        "distortion_coefficients: !!opencv-matrix\n   rows: 1\n   cols: 5\n   dt: d\n"
        "   data: [ 0.0, 0.0, 0.0, 0.0, 0.0 ]\n"
    )


def _frame(card: Card) -> str:
    return (
        "# a computed card before a wall, for bite device: no real sensor was measured\n"
        f'format = "bite-frame 1"\nname = "{card.name}"\nperformer = "card"\ndevice = "bench-depth"\n\n'
        '[[view]]\nname = "front"\nimage = "front.png"\ncamera = "front.camera.yaml"\n\n'
        f'[depth]\nmap = "front.depth.png"\nunit_mm = {card.unit_mm}\nview = "front"\n'
    )
