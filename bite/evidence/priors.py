"""What is believed of a frame before its evidence is looked at, and where each belief comes from."""

from __future__ import annotations

from bite.files.device import Device
from bite.fit.parameters import Prior, make_prior

SMOOTHING_PX, SMOOTHING_SD_PX = 2.0, 1.5
ENAMEL_BIAS_MM, ENAMEL_BIAS_SD_MM = 0.2, 0.2
LANDMARK_POSE_SHIFT_MM, LANDMARK_POSE_TURN_DEG = 50.0, 20.0
"""A pose from a few soft-tissue clicks may be far off; the clicks themselves stay in the fit and hold it."""


def prior_of(device: Device, *, posed_by_landmarks: bool = False) -> tuple[Prior, tuple[str, ...]]:
    """Give the prior of a frame and one sentence for each part of it."""
    told = []

    def choose(value: float | None, default: float, what: str, unit: str) -> float:
        if value is None:
            told.append(f"{what} {default:g} {unit}: built-in default, {device.name} states none")
            return default
        told.append(f"{what} {value:g} {unit}: {device.source}")
        return value

    prior = make_prior(
        smoothing_px=choose(device.smoothing_px, SMOOTHING_PX, "sensor smoothing", "px"),
        smoothing_sd_px=choose(device.smoothing_sd_px, SMOOTHING_SD_PX, "its sd", "px"),
        enamel_bias_mm=choose(device.enamel_bias_mm, ENAMEL_BIAS_MM, "enamel seen too deep by", "mm"),
        enamel_bias_sd_mm=choose(device.enamel_bias_sd_mm, ENAMEL_BIAS_SD_MM, "its sd", "mm"),
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
