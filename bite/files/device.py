"""Device tables: what is known beforehand of a class of depth camera."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Device:
    """Priors and starting values of a device; None where its table does not say (``source`` says where it was read)."""

    name: str
    source: str
    smoothing_px: float | None = None
    smoothing_sd_px: float | None = None
    enamel_bias_mm: float | None = None
    enamel_bias_sd_mm: float | None = None
    noise_mm: float | None = None
    correlation_px: float | None = None
