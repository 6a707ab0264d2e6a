"""How far each click lies from where the fitted model has its point, in px and in sd of the click."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.fit.corner_block import CornerBlock, Use
from bite.fit.parameters import P
from bite.geometry.rigid import Array
from bite.geometry.teeth import is_upper


@dataclass(frozen=True, slots=True)
class ClickResidual:
    """Clicked minus projected of one corner or landmark.

    Parameters
    ----------
    view, name : str
    use : Use
    off_px : array, shape (2,)
    sigma_px : float, of the click about the model's corner: what the model's corner may be off by included
    off_sd : float, length of ``off_px`` over sigma; for a covered corner only what lies beyond its bound
    """

    view: str
    name: str
    use: Use
    off_px: Array
    sigma_px: float
    off_sd: float


def click_residuals(block: CornerBlock, parameters: Array) -> tuple[ClickResidual, ...]:
    """Give the residual of every click of a corner block."""
    found = []
    for clicks in block.views:
        pixels, by_parameter = block.project(clicks, parameters)
        up = by_parameter[:, :, P.UP_MM]
        scatter = block.scatter_px(clicks, by_parameter)
        for k, name in enumerate(clicks.names):
            use = Use(int(clicks.use[k]))
            off, sigma = clicks.pixels[k] - pixels[k], float(scatter[k])
            length = float(np.hypot(*off))
            if use is Use.BOUND:
                direction = up[k] / max(float(np.hypot(*up[k])), 1e-12)
                # the model's corner may stand above the point where the tooth disappears, but not below it
                length = max(0.0, float(off @ direction))
            found.append(ClickResidual(clicks.view, name, use, off, sigma, length / sigma))
    return tuple(found)


def rows_contradict_sd(residuals: tuple[ClickResidual, ...]) -> float:
    """Give by how many sd the clicks of the lower row, as a whole, lie elsewhere than those of the upper one.

    Both rows of the model move together, so a jaw that was solved wrong shows as a step between the residuals
    of the rows. 0 where either row has no click that the fit uses.
    """
    worst = 0.0
    for view in {residual.view for residual in residuals}:
        rows: dict[bool, list[ClickResidual]] = {True: [], False: []}
        for r in residuals:
            if r.view == view and r.use is Use.CORNER:
                rows[is_upper(r.name)].append(r)
        if all(rows.values()):
            means, variances = [], []
            for row in (rows[True], rows[False]):
                weight = np.array([r.sigma_px**-2 for r in row])
                means.append(weight @ np.array([r.off_px for r in row]) / weight.sum())
                variances.append(1.0 / weight.sum())
            worst = max(worst, float(np.hypot(*(means[1] - means[0])) / np.sqrt(sum(variances))))
        beyond = [r.off_sd for r in residuals if r.view == view and r.use is Use.BOUND]
        if rows[True] and beyond:
            worst = max(worst, float(np.mean(beyond)) * np.sqrt(len(beyond)))
    return worst


def rows_apart_px(residuals: tuple[ClickResidual, ...]) -> float:
    """Give how far the lower clicks of the reference view lie from where the upper ones put them, px.

    The mean of seen corners' steps, or of what covered ones lie beyond their bounds, whichever is farther.
    """
    view = residuals[0].view if residuals else ""
    rows: dict[bool, list[Array]] = {True: [], False: []}
    for r in residuals:
        if r.view == view and r.use is Use.CORNER:
            rows[is_upper(r.name)].append(r.off_px)
    step = 0.0
    if all(rows.values()):
        step = float(np.hypot(*(np.mean(rows[False], axis=0) - np.mean(rows[True], axis=0))))
    beyond = [r.off_sd * r.sigma_px for r in residuals if r.view == view and r.use is Use.BOUND]
    return max(step, float(np.mean(beyond)) if rows[True] and beyond else 0.0)
