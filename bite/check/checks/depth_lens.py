"""Is the face in the depth map as wide as the solved one? A focal length that is off shows here alone."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.stats.estimate import Estimate

CODE = "depth-lens"
LIMIT_PERCENT, SURE_SD = 3.0, 3.0
"""Right frames of the worlds have 0.5 % at the most, under a beard 1.3 %, and 5.2 % where the focal length is
off by 5 %; 3 sd is 1 in 370 by chance (our choice; docs/mistakes.md)."""
_SOURCE = "3 % and 3 sd: our choice"


def depth_lens(wider: Estimate | None) -> Finding:
    """Judge how much wider the map's face is than the solved one, where both lie on one another.

    Parameters
    ----------
    wider : Estimate or None, %
    """
    if wider is None:
        return Finding(
            CODE, Severity.OK, "not asked: too little skin is measured", limit=LIMIT_PERCENT, source=_SOURCE
        )
    side = "wider" if wider.value > 0 else "narrower"
    text = (
        f"the face in the depth map is {abs(wider.value):.1f} +- {wider.sd:.1f} % {side} than the solved one "
        "at the same distance"
    )
    off = abs(wider.value) > LIMIT_PERCENT and abs(wider.value) > SURE_SD * wider.sd
    todo = ""
    if off:
        text = f"the depth camera's focal length does not fit: {text}"
        todo = (
            "check the focal length in the depth map's camera file: one that is some "
            f"{abs(wider.value):.0f} % {'longer' if wider.value > 0 else 'shorter'} would fit; if it is "
            "right, the solved head has another size"
        )
    return Finding(
        CODE,
        Severity.FAIL if off else Severity.OK,
        text,
        todo,
        wider.value,
        wider.sd,
        LIMIT_PERCENT,
        "%",
        source=_SOURCE,
    )
