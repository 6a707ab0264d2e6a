"""Which click would sharpen the offset most: the sd that one more corner or landmark is expected to leave.

A click that has not been made has known slopes: the solved model says where it would be. Its information,
added to what the fit knows already, gives the sd afterwards without knowing where the click will fall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.clicks.for_fit import SIGMA_DISTAL_PX, SIGMA_LANDMARK_PX, SIGMA_MESIAL_PX
from bite.evidence.crowns import crowns_of
from bite.files.bundle import BiteFrame, LoadedView
from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.head import Head
from bite.fit.offset import OffsetFit
from bite.fit.parameters import P
from bite.geometry.rigid import Array
from bite.geometry.teeth import UPPER_CORNERS, is_upper

_SHOWN_MM = 0.3
"""A lower corner this far below the upper edge can be expected to be seen (our choice)."""


@dataclass(frozen=True, slots=True)
class NextClick:
    """One click that could be made, and the sd of the offset expected after it, mm."""

    view: str
    name: str
    sd_mm: float


def next_clicks(frame: BiteFrame, head: Head, fit: OffsetFit) -> tuple[NextClick, ...]:
    """Give all clicks not made yet that would enter the fit, the most telling first.

    Lower corners that the model has behind the upper crowns are left out: only where they disappear could be
    clicked, which bounds the bite and fixes no position.

    Parameters
    ----------
    frame : BiteFrame
    head : Head, the solved model
    fit : OffsetFit, made from the clicks so far

    Notes
    -----
    With slopes J over sigma and the present covariance C, the covariance afterwards is
    C - C J' (J C J' + I)^-1 J C (the update of linear least squares by new observations).
    """
    covariance = np.asarray(fit.solution.covariance, float)
    parameters = np.asarray(fit.parameters, float)
    found = []
    for view in frame.views:
        for name in _open(view, head, parameters):
            corner = name in head.corners
            sigma = SIGMA_LANDMARK_PX
            if corner:
                sigma = SIGMA_DISTAL_PX if name.endswith("d") else SIGMA_MESIAL_PX
            use = np.array([Use.CORNER if corner else Use.LANDMARK], dtype=np.int8)
            blank = Clicks(view.name, view.camera, (name,), use, np.zeros((1, 2)), np.array([sigma]))
            block = CornerBlock(head, (blank,), crowns_of(frame.rig).corner_sd_mm)
            pixels, slopes = block.project(blank, parameters[: covariance.shape[0]])
            if not _inside(pixels[0], view):
                continue
            scatter_px = block.scatter_px(blank, slopes)[0]
            found.append(NextClick(view.name, name, _sd_after(covariance, slopes[0] / scatter_px)))
    return tuple(sorted(found, key=lambda click: click.sd_mm))


def _sd_after(covariance: Array, slopes: Array) -> float:
    spread = slopes @ covariance
    after = covariance - spread.T @ np.linalg.solve(spread @ slopes.T + np.eye(len(slopes)), spread)
    return float(np.sqrt(max(after[P.FORWARD_MM, P.FORWARD_MM], 0.0)))


def _open(view: LoadedView, head: Head, parameters: Array) -> list[str]:
    done: set[str] = set()
    if view.corners is not None:
        done = set(view.corners.points) | set(view.corners.landmarks)
    upper = [head.corners[code] @ head.up for code in UPPER_CORNERS if code in head.corners]
    edge = min(upper) if upper else np.inf
    names = [
        code
        for code, point in head.corners.items()
        if code not in done and (is_upper(code) or point @ head.up < edge - _SHOWN_MM)
    ]
    return names + [name for name in head.landmarks if name not in done]


def _inside(pixel: Array, view: LoadedView) -> bool:
    height, width = view.image.shape[:2]
    return bool(np.isfinite(pixel).all() and 0 <= pixel[0] <= width - 1 and 0 <= pixel[1] <= height - 1)
