"""Do the upper and the lower teeth ask for the same move? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.stats.estimate import Estimate

CODE = "rows-agree"
LIMIT_MM, LIMIT_SD = 0.5, 3.0
"""Rows apart by the default tolerance, and by 3 sd, 1 in 370 by chance (our choice)."""
ANOTHER_BITE_MM = 1.5
"""A habitual bite repeats to some tenths of a millimetre; so far apart the jaw stands otherwise (our
choice)."""


def rows_agree(rows: Estimate | None) -> Finding:
    """Judge the difference of the offsets of lower and upper teeth."""
    if rows is None:
        return Finding(
            CODE,
            Severity.OK,
            "offsets of the two rows were not told apart: depth does not see both",
            limit=LIMIT_MM,
            unit="mm",
        )
    way = "forward of" if rows.value > 0 else "behind"
    text = (
        f"the lower teeth ask for a place {abs(rows.value):.1f} +- {rows.sd:.1f} mm {way} where the upper "
        "ones do"
    )
    off = abs(rows.value) > LIMIT_MM and abs(rows.value) > LIMIT_SD * rows.sd
    far = off and abs(rows.value) > ANOTHER_BITE_MM
    if far:
        text = f"the rows do not stand in one bite: {text}"
    return Finding(
        CODE,
        Severity.FAIL if far else Severity.WARN if off else Severity.OK,
        text,
        "a bite problem, not a depth problem: look at how the jaw is closed in the solved model"
        if off
        else "",
        rows.value,
        rows.sd,
        LIMIT_MM,
        "mm",
        source="0.5 and 1.5 mm, 3 sd: our choice",
    )
