"""The measures of one invented performer, drawn from published spreads.

Sources: crown widths and heights as in ``reference/crown_widths.toml`` (11: 8.6 +- 0.6, Nelson & Ash,
Orozco-Varo 2015, Kaewplung 2008; lower row Alqahtani 2021; lower sd from memory); overjet and overbite as
Gaussians that reproduce the shares of NHANES III (Brunelle 1996); occlusal pitch Celar 2018; upper incisor
behind subnasale 9 to 12 mm (Sangalli 2022). Everything else about the face is invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_bite.scene.settings import Bite


@dataclass(frozen=True, slots=True)
class Crown:
    """One crown, mm: mesiodistal width, height, radii of its incisal angles, how pointed its edge is."""

    width_mm: float
    height_mm: float
    mesial_radius_mm: float
    distal_radius_mm: float
    cusp_mm: float = 0.0
    edge_up_mm: float = 0.0
    """how much nearer to the gum its edge stands than that of the central"""


# name: width mean, sd, height mean, mesial radius, distal radius, cusp, edge
_UPPER = (
    (8.6, 0.6, 10.2, 0.45, 1.2, 0.0, 0.0),
    (6.7, 0.6, 9.0, 0.7, 1.6, 0.0, 0.7),
    (7.8, 0.5, 9.9, 1.2, 1.6, 1.3, -0.1),
    (7.1, 0.4, 8.4, 1.2, 1.3, 1.0, 0.4),
    (6.8, 0.4, 7.4, 1.0, 1.2, 0.8, 0.4),
)
_LOWER = (
    (5.4, 0.4, 8.8, 0.35, 0.5, 0.0, 0.0),
    (5.9, 0.4, 9.2, 0.4, 0.8, 0.0, 0.0),
    (6.8, 0.4, 10.2, 1.0, 1.5, 1.2, -0.3),
    (7.0, 0.4, 8.4, 1.2, 1.4, 1.0, 0.3),
    (7.1, 0.4, 7.8, 1.2, 1.3, 0.8, 0.6),
)


@dataclass(frozen=True, slots=True)
class Anatomy:
    """One performer. Rows run from the central incisor backwards; sides are alike but for ``jitter_seed``."""

    upper: tuple[Crown, ...]
    lower: tuple[Crown, ...]
    overjet_mm: float
    overbite_mm: float
    """negative is a vertical opening"""
    occlusal_pitch_rad: float
    midline_shift_mm: float
    jitter_seed: int
    subnasale_in_front_mm: float
    """of the upper incisal edge"""
    lip_stand_mm: float
    """bared lips in front of the incisors"""
    relaxed_lip_stand_mm: float
    width_scale: float
    nose_scale: float
    chin_mm: float
    skin_tone: float
    """0 light .. 1 dark"""


def _row(rng: np.random.Generator, table: tuple[tuple[float, ...], ...]) -> tuple[Crown, ...]:
    common = rng.normal()  # widths of neighbours go together; half of the variance shared is invented
    crowns = []
    for mean, sd, height, mesial, distal, cusp, edge in table:
        width = mean + sd * float(np.clip(0.71 * common + 0.71 * rng.normal(), -2.2, 2.2))
        tall = height * float(np.clip(rng.normal(1.0, 0.06), 0.85, 1.15))
        crowns.append(Crown(width, tall, mesial, distal, cusp, edge))
    return tuple(crowns)


def thickness_mm(from_edge_mm: float) -> float:
    """Give how thick an upper incisor is at a height above its edge, mm (invented)."""
    return 0.8 + 0.42 * max(from_edge_mm, 0.0)


def draw_anatomy(rng: np.random.Generator, bite: Bite) -> Anatomy:
    """Draw one performer; measures that ``bite`` states are taken as they are.

    A drawn overjet is raised where the lower incisors would otherwise stand inside the upper ones.
    """
    upper, lower = _row(rng, _UPPER), _row(rng, _LOWER)
    overbite = float(np.clip(rng.normal(2.9, 1.85), 0.2, 6.0))
    overjet = float(np.clip(rng.normal(2.8, 1.7), 0.5, 6.0))
    pitch = float(rng.normal(8.0, 5.0))
    shift = float(np.clip(rng.normal(0.0, 0.9), -2.0, 2.0))
    overbite = overbite if bite.overbite_mm is None else bite.overbite_mm
    if bite.overjet_mm is not None:
        overjet = bite.overjet_mm
    elif overbite > 0:
        overjet = max(overjet, thickness_mm(overbite) + 0.2)
    return Anatomy(
        upper=upper,
        lower=lower,
        overjet_mm=overjet,
        overbite_mm=overbite,
        occlusal_pitch_rad=float(
            np.deg2rad(pitch if bite.occlusal_pitch_deg is None else bite.occlusal_pitch_deg)
        ),
        midline_shift_mm=shift if bite.midline_shift_mm is None else bite.midline_shift_mm,
        jitter_seed=int(rng.integers(2**31)),
        subnasale_in_front_mm=float(np.clip(rng.normal(10.5, 2.2), 6.5, 14.5)),
        lip_stand_mm=float(rng.uniform(6.0, 9.0)),
        relaxed_lip_stand_mm=float(np.clip(rng.normal(13.0, 1.3), 11.0, 15.5)),
        width_scale=float(np.clip(rng.normal(1.0, 0.035), 0.92, 1.08)),
        nose_scale=float(np.clip(rng.normal(1.0, 0.1), 0.8, 1.2)),
        chin_mm=float(np.clip(rng.normal(0.0, 1.5), -3.0, 3.0)),
        skin_tone=float(rng.uniform(0.0, 1.0)),
    )
