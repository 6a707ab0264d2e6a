"""What is believed of a frame before its evidence is looked at, and where each belief comes from."""

from __future__ import annotations

import numpy as np

from bite.files.depth import Matching
from bite.files.device import Device
from bite.fit.parameters import Prior, make_prior

SMOOTHING_PX, SMOOTHING_SD_PX = 2.0, 1.5
"""Where no device table says it: wide enough for anything from none to 5 px (our choice)."""
KEPT_EDGES_PX = (0.5, 0.3)
"""What a filter that keeps edges leaves of a blur at steps, and its sd: less than a pixel (our choice)."""
ENAMEL_BIAS_MM, ENAMEL_BIAS_SD_MM = 0.2, 0.2
"""As in `fit.parameters.make_prior`: an engineering estimate."""
MATCHED_SMOOTHING = 0.8
"""Middle of the range that the next lines tell."""
MATCHED_SMOOTHING_SD = 0.2
"""The blur of a matched map as a share of its patches' sd: 0.73 to 0.83 in simulated pairs."""
MATCHED_ENAMEL_BIAS_MM, MATCHED_ENAMEL_BIAS_SD_MM = 0.1, 0.15
"""Two cameras see stains and edges on the enamel's surface, but some contrast lies beneath it, and sheen lies
behind a bulging surface and moves with the view: less than an active sensor's light goes astray, and to the
same side. Engineering estimate; no measurement was found."""
MATCHER_PULL_PX = 0.06
"""Sd of what a matcher reads wrong all over the enamel against skin: its patches see shading and blur that
differ there. Engineering estimate; pairs of computed pictures asked for 0.05 px."""
LANDMARK_POSE_SHIFT_MM, LANDMARK_POSE_TURN_DEG = 50.0, 20.0
"""A pose from a few soft-tissue clicks may be far off; the clicks themselves stay in the fit and hold it."""


def prior_of(
    device: Device, *, posed_by_landmarks: bool = False, matched: Matching | None = None
) -> tuple[Prior, tuple[str, ...]]:
    """Give the prior of a frame and one sentence for each part of it.

    Parameters
    ----------
    device : Device
    posed_by_landmarks : bool
    matched : Matching, optional
        How the depth map was matched from two views, where it was. A device's own smoothing is in pixels of a
        map of its own and says nothing then; its enamel bias, where stated, does, and the matcher's own error
        comes on top.
    """
    told: list[str] = []

    def choose(value: float | None, default: float, what: str, unit: str) -> float:
        if value is None:
            told.append(f"{what} {default:g} {unit}: built-in default, {device.name} states none")
            return default
        told.append(f"{what} {value:g} {unit}: {device.source}")
        return value

    bias_mm, bias_sd_mm = ENAMEL_BIAS_MM, ENAMEL_BIAS_SD_MM
    pull_mm = 0.0
    if matched is None or matched.blur_px is None:
        usual = KEPT_EDGES_PX if device.filter == "edge-preserving" else (SMOOTHING_PX, SMOOTHING_SD_PX)
        smoothing_px = choose(device.smoothing_px, usual[0], "sensor smoothing", "px")
        smoothing_sd_px = choose(device.smoothing_sd_px, usual[1], "its sd", "px")
    else:
        bias_mm, bias_sd_mm = MATCHED_ENAMEL_BIAS_MM, MATCHED_ENAMEL_BIAS_SD_MM
        smoothing_px = MATCHED_SMOOTHING * matched.blur_px
        smoothing_sd_px = MATCHED_SMOOTHING_SD * matched.blur_px
        told.append(f"blur of the matched depth {smoothing_px:.2g} +- {smoothing_sd_px:.2g} px: its patches")
        pull_mm = MATCHER_PULL_PX * (matched.mm_per_px or 0.0)
        told.append(f"enamel matched against skin to {pull_mm:.2g} mm: {MATCHER_PULL_PX:g} px, an estimate")
    prior = make_prior(
        smoothing_px=smoothing_px,
        smoothing_sd_px=smoothing_sd_px,
        enamel_bias_mm=choose(device.enamel_bias_mm, bias_mm, "enamel seen too deep by", "mm"),
        enamel_bias_sd_mm=float(
            np.hypot(choose(device.enamel_bias_sd_mm, bias_sd_mm, "its sd", "mm"), pull_mm)
        ),
        head_shift_sd_mm=LANDMARK_POSE_SHIFT_MM if posed_by_landmarks else 1.0,
        head_turn_sd_deg=LANDMARK_POSE_TURN_DEG if posed_by_landmarks else 1.0,
    )
    if posed_by_landmarks:
        told.append(
            "solved head placed from landmarks: "
            f"prior {LANDMARK_POSE_SHIFT_MM:g} mm and {LANDMARK_POSE_TURN_DEG:g} "
            "degrees, then measured skin"
        )
    else:
        told.append("solved head within 1 mm and 1 degree of its sensor: common practice, no source")
    return prior, tuple(told)
