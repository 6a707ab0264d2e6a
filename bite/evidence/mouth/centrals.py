"""How the two upper centrals stand beside one another: the gap between them, and the step at the midline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.mouth.place import Mouth
from bite.evidence.mouth.spans import seen_points
from bite.files.bundle import BiteFrame
from bite.geometry.teeth import UPPER_CORNERS
from bite.stats.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Centrals:
    """Distances between the clicked mesial angles, mm.

    Parameters
    ----------
    gap : along the row
    step : how much higher 21's stands than 11's, the row's slope taken out; negative where 11's is the higher
    """

    gap: Estimate
    step: Estimate


def centrals_of(frame: BiteFrame, mouth: Mouth | None) -> Centrals | None:
    """Measure between the mesial angles; None unless all four upper corners are seen in the first view."""
    points = seen_points(frame, 0)
    if mouth is None or any(code not in points for code in UPPER_CORNERS):
        return None
    across, down = np.asarray(mouth.row.across), np.asarray(mouth.row.down)
    apart = points["21m"][0] - points["11m"][0]
    click_px = float(np.hypot(points["11m"][1], points["21m"][1]))
    relative = mouth.mm_per_px_sd / mouth.mm_per_px

    def estimate(px: float) -> Estimate:
        mm = px * mouth.mm_per_px
        return Estimate(mm, float(np.hypot(click_px * mouth.mm_per_px, relative * mm)))

    return Centrals(estimate(float(apart @ across)), estimate(-float(apart @ down)))
