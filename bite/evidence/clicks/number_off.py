"""Do the clicks fit the vertices beside those that the rig names? Then its numbers are at fault.

An OBJ file counts its vertices from 1, the rig file from 0: whoever copies one into the other is off by one
in every corner, by up to a millimetre where neighbours are near, and by a crown's height where they are not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from bite.fit.corner_block import CornerBlock, Use
from bite.geometry.rigid import Array

POOR = 2.5
"""Reduced chi-square of the clicks from which numbers are asked about, as `clicks` does (our choice)."""
BETTER = 4.0
"""How many times better the clicks must fit the neighbours (our choice)."""


def numbers_off(
    block: CornerBlock, parameters: Array, points_mm: Array, numbers: Mapping[str, int]
) -> int:
    """Give by how much every corner number seems too low (+1) or too high (-1); 0 where they fit.

    Parameters
    ----------
    block : CornerBlock
    parameters : array, shape (14,), where the fit put the model
    points_mm : array, shape (n, 3), mm, all vertices of the model as solved
    numbers : mapping from corner to vertex number
    """
    found = {0: _chi2(block, parameters)}
    for step in (-1, 1):
        if all(0 <= number + step < len(points_mm) for number in numbers.values()):
            corners = {code: points_mm[number + step] for code, number in numbers.items()}
            found[step] = _chi2(replace(block, head=replace(block.head, corners=corners)), parameters)
    best = min(found, key=lambda step: found[step])
    return best if found[0] > POOR and found[best] * BETTER < found[0] else 0


def _chi2(block: CornerBlock, parameters: Array) -> float:
    """Give the reduced chi-square of seen corners about their mean residual in each view.

    About the mean, since the fit has moved the teeth to where the numbers under suspicion fit best.
    """
    total, freedom = 0.0, 0
    for clicks in block.views:
        seen = clicks.use == Use.CORNER
        if seen.sum() < 2:
            continue
        pixels, _ = block.project(clicks, parameters)
        off, weight = (clicks.pixels - pixels)[seen], clicks.sigma_px[seen] ** -2
        apart = off - weight @ off / weight.sum()
        total += float((weight[:, None] * apart**2).sum())
        freedom += 2 * int(seen.sum()) - 2
    return total / freedom if freedom else 0.0
