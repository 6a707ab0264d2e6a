"""What each scan line shows below the upper edge: lower enamel, an opening, or neither."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from bite.evidence.enamel.valley import Valleys
from bite.geometry.rigid import Array

BLACK = 0.36
"""A valley this dark, as a share of the stored luminance of the upper enamel, is the inside of a mouth:
0.29 in the open one of 22 real mouths, 0.38 and more in shadow lines and dark lips (our choice)."""
DIM = 0.50
"""Shadow lines of closed real mouths that are wider than DOUBT_MM are not as dark as this (our choice)."""
OPEN_MM, DOUBT_MM = 1.5, 0.9
"""Widest and narrowest dark valley that may be either: shadow lines of closed real mouths are up to 0.9 mm
wide, the band of the open one 2 mm (our choice)."""
BLACK_OPEN_MM = 1.2
"""The same of a valley half as light as that: no shadow line is (our choice)."""
OPEN_ABOVE_ENAMEL_MM = 1.8
"""A valley of any depth that is wider than this, with lower enamel after it, is an opening."""
ENAMEL_LIGHT, ENAMEL_REDNESS = 0.60, 0.55
"""Lower enamel has this share of the upper enamel's stored luminance, and is less than this far on the way
from its redness to that of the lip below."""
_LEAST_ENAMEL_MM, _LEAST_OTHER_MM = 0.4, 0.5
"""Less enamel is a glint, less of anything else a crack or contact (our choice)."""
_LEAST_SPAN = 10.0
"""Lips are redder than enamel by at least this (CIE a*): 13 and more in 22 real mouths; where none shows,
so far."""
_LIP_MM = (1.5, 9.0)
"""A lip stands here in any smile, below a wide row of lower teeth at the latest."""


class LineKind(IntEnum):
    """What one scan line shows."""

    NOT_READ = 0
    ENAMEL = 1
    APART = 2
    DOUBT = 3
    UNSEEN = 4


def line_kinds(valleys: Valleys, shown: Array) -> NDArray[np.int64]:
    """Tell what each line shows, as LineKind values.

    Parameters
    ----------
    valleys : Valleys, of n lines
    shown : array, shape (n,), mm of lower enamel, as `enamel_shown` gives it
    """
    enamel = np.nan_to_num(shown) >= _LEAST_ENAMEL_MM
    width, bottom = np.nan_to_num(valleys.width_mm), valleys.bottom
    valley = valleys.found & valleys.bordered
    apart = valley & (
        ((bottom <= BLACK) & (width >= OPEN_MM))
        | ((bottom <= 0.5 * BLACK) & (width >= BLACK_OPEN_MM))
        | (enamel & (bottom <= DIM) & (width >= OPEN_ABOVE_ENAMEL_MM))
    )
    # black to the end of the line: nothing tells how wide, but no lip and no tooth is black
    endless = valleys.found & ~valleys.bordered & (bottom < 0.6 * BLACK)
    # wide and only dim is the shade of a lip
    doubt = (valley & (bottom <= DIM) & (width >= DOUBT_MM) & (width < OPEN_ABOVE_ENAMEL_MM)) | endless
    doubt |= valley & (bottom <= BLACK) & (width >= DOUBT_MM)
    return np.select(
        [~valleys.read, apart, doubt, enamel],
        [LineKind.NOT_READ, LineKind.APART, LineKind.DOUBT, LineKind.ENAMEL],
        LineKind.UNSEEN,
    ).astype(np.int64)


def enamel_shown(light: Array, redness: Array | None, mm: Array, valleys: Valleys, clear_mm: float) -> Array:
    """Give how much lower enamel follows on each line, mm; NaN in a grey picture and on lines not read."""
    count = len(light)
    shown = np.full(count, np.nan)
    if redness is None:
        return shown
    on_upper = (mm >= -1.8 - clear_mm) & (mm <= -0.7 - clear_mm)
    lip = (mm >= _LIP_MM[0]) & (mm <= _LIP_MM[1])
    with np.errstate(invalid="ignore"):
        upper_red = (
            float(np.nanmedian(redness[:, on_upper])) if np.isfinite(redness[:, on_upper]).any() else 0.0
        )
        lip_red = np.nanpercentile(redness[valleys.read][:, lip], 90) if valleys.read.any() else upper_red
    span = max(float(lip_red) - upper_red, _LEAST_SPAN)
    least = max(1, round(_LEAST_OTHER_MM / (mm[1] - mm[0])))
    for i in np.flatnonzero(valleys.read):
        start = int(np.searchsorted(mm, valleys.end_mm[i]))
        pale = redness[i, start:] < upper_red + ENAMEL_REDNESS * span
        enamel = pale & (light[i, start:] >= ENAMEL_LIGHT * valleys.enamel[i])
        if not enamel.any():
            shown[i] = 0.0
            continue
        first = int(enamel.argmax())
        other = np.convolve((~enamel[first:]).astype(int), np.ones(least, int), "valid") == least
        last = int(other.argmax()) if other.any() else len(enamel) - first
        # enamel that begins far below the edge is a highlight on a lip
        near = mm[start + first] - valleys.end_mm[i] < _LEAST_OTHER_MM
        shown[i] = last * (mm[1] - mm[0]) if near else 0.0
    return shown
