"""How far the digital crowns may differ from the performer's, and who says so.

Crowns of another mouth, or built by hand, have faces and corners of their own; scanned or cast ones are the
performer's but for what scanning and remeshing leave. No frame can tell which they are: the rig says it.
"""

from __future__ import annotations

from dataclasses import dataclass

from bite.files.rig import Rig
from bite.fit.corner_block import SHAPE_SD_MM
from bite.fit.tooth_moves import FACE_SD_MM

SCANNED_FACE_SD_MM = 0.05
"""How much fuller or flatter than the performer's the faces of a scanned row are: the scan's own error and
that of its remeshing, as far as a whole row shares it (our choice; no published value was found)."""
SCANNED_CORNER_SD_MM = 0.1
"""How far a corner of a scanned tooth is off, right or up: remeshing rounds an angle more than a face, and
which point of a rounded angle is the corner was still somebody's choice (our choice)."""


@dataclass(frozen=True, slots=True)
class Crowns:
    """What the fit allows digital crowns to differ by, sds in mm.

    Parameters
    ----------
    face_sd_mm : float, how much fuller or flatter the faces of a row may be
    corner_sd_mm : float, how far a corner may be off, right or up
    source : str, whose crowns they were taken for, and who says so
    """

    face_sd_mm: float
    corner_sd_mm: float
    source: str

    def told(self, *, faces: bool, corners: bool) -> tuple[str, ...]:
        """Give one sentence on what was assumed; none where neither faces nor corners are in the fit."""
        parts = [f"faces of a row fuller or flatter by {self.face_sd_mm:g} mm"] if faces else []
        parts += [f"corners off by {self.corner_sd_mm:g} mm"] if corners else []
        return (f"digital crowns, sd: {', '.join(parts)}: {self.source}",) if parts else ()


def crowns_of(rig: Rig | None) -> Crowns:
    """Give what a rig's crowns may differ by; where no rig says, they count as modelled."""
    if rig is not None and rig.teeth == "scanned":
        return Crowns(
            SCANNED_FACE_SD_MM,
            SCANNED_CORNER_SD_MM,
            f"the performer's own as scanned, as {rig.path.name} says; an estimate",
        )
    if rig is None:
        source = "of another mouth, since no rig says whose they are; an estimate"
    elif rig.teeth is None:
        source = (
            f"of another mouth, since {rig.path.name} does not say whose they are; if they were scanned or "
            'cast from this performer, teeth = "scanned" there narrows the interval'
        )
    else:
        source = f"of another mouth or built by hand, as {rig.path.name} says; an estimate"
    return Crowns(FACE_SD_MM, SHAPE_SD_MM, source)
