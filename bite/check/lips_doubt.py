"""What lips that were solved elsewhere than they are measured cost the offset, as systematic sd."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bite.fit.offset import OffsetFit
from bite.stats.estimate import Estimate

SHARE = 0.5
"""Part of the lips' error that goes into the offset: 0.34 to 0.56 in heads whose lips were solved 2 mm too
far forward or 1.5 mm too far back (docs/measured.md)."""
SURE_SD = 2.0
"""Within 2 sd the lips may be off by chance: 1 in 20 (our choice)."""


def with_lips_doubt(fit: OffsetFit, lips: Estimate | None) -> OffsetFit:
    """Widen the offset by what the lips are off beyond chance.

    Parameters
    ----------
    fit : OffsetFit
    lips : Estimate or None, mm, how far the solved lips stand before the measured ones
    """
    off_mm = 0.0 if lips is None else max(abs(lips.value) - SURE_SD * lips.sd, 0.0)
    if not off_mm > 0.0:
        return fit
    systematic = float(np.hypot(fit.systematic_sd_mm, SHARE * off_mm))
    offset = Estimate(fit.offset.value, float(np.hypot(fit.sampling_sd_mm, systematic)))
    return replace(fit, offset=offset, systematic_sd_mm=systematic)
