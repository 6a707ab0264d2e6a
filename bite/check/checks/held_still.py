"""Did the bite hold still over the depth maps that were averaged? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.files.depth import Held

CODE = "held-still"
WARN_SHARE = 0.5
"""Where fewer maps than this hold still, the bite was not held, and the picture may show a moving one."""
_SOURCE = "0.5: our choice"
_MOST_NAMED = 3
"""Named one by one up to here, so that the message stays one line (our choice)."""


def held_still(held: Held) -> Finding:
    """Tell how many maps were averaged, what they say of the sensor's noise, and which were left out.

    Parameters
    ----------
    held : Held
    """
    share = held.used / held.given
    text = (
        f"{held.used} of {held.given} depth maps hold still; noise {held.noise_mm:.2f} mm a reading, "
        f"correlated over {held.correlation_px:.1f} px, {held.mean_noise_mm:.2f} mm in their mean"
    )
    if held.left_out:
        named = "; ".join(f"{name} ({why})" for name, why in held.left_out[:_MOST_NAMED])
        more = f" and {len(held.left_out) - _MOST_NAMED} more" if len(held.left_out) > _MOST_NAMED else ""
        text += f"; left out: {named}{more}"
    fine = share >= WARN_SHARE
    return Finding(
        CODE,
        Severity.OK if fine else Severity.WARN,
        text,
        "" if fine else "name the maps of the moment in which the bite was held, the picture's own first",
        share,
        None,
        WARN_SHARE,
        "1",
        source=_SOURCE,
    )
