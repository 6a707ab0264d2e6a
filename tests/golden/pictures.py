"""The panels that carry a decision, small, as they were looked at and found right.

    python -m tests.golden.pictures

writes them again; look at each before it is committed. They are compared by places, not by letters: fonts and
versions of matplotlib draw letters a little differently.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

from bite.check.before_after import before_after_figure
from bite.check.single_panels import panel_figures
from bite.evidence.model.head import SolvedHead
from bite.plots.saving import figure_pixels
from bite.stats.estimate import Estimate
from tests.check.told.conftest import GAPED, Fake
from tests.evidence.test_solved_mouth import head

if TYPE_CHECKING:
    from bite.check.assessment import Assessment

FOLDER = Path(__file__).parent
WIDTH_PX = 400
BLUR_PX = 0.7
NEAR = 0.97
"""So much of what has a colour must be within ``TONES`` of the golden picture. Matplotlib 3.8.0 draws 0.998
alike of what the newest drew; the opposite answer is drawn 0.93 alike at most (measured)."""
TONES, COLOURED = 25, 45


def with_teeth(found: Assessment) -> Assessment:
    """Give an assessment with a solved mouth of plane sheets, so that there are outlines to draw."""
    return replace(found, solved=SolvedHead(head(), True, None, False, False))


def made(forward_mm: float = 1.42, *, pages: bool = True) -> dict[str, np.ndarray]:
    """Draw every golden picture, or the single panels only."""
    move = with_teeth(Fake(offset=Estimate(forward_mm, 0.112)).make())
    beyond = Fake(offset=Estimate(4.1 * np.sign(forward_mm), 0.2)).make()
    refused = with_teeth(Fake(offset=Estimate(forward_mm, 0.112), findings=(GAPED, *Fake().findings)).make())
    panels = panel_figures(move)
    whole = {"page-move": move, "page-refused": refused} if pages else {}
    return {
        "dial-move": small(figure_pixels(panels["dial"])),
        "dial-beyond": small(figure_pixels(panel_figures(beyond)["dial"])),
        "dial-refused": small(figure_pixels(panel_figures(refused)["dial"])),
        "crowns-move": small(figure_pixels(panels["crowns"])),
        "outline-move": small(figure_pixels(panels["outline-front"])),
        **{name: small(figure_pixels(before_after_figure(found))) for name, found in whole.items()},
    }


def small(pixels: np.ndarray) -> np.ndarray:
    """Make a picture small, BGR."""
    height = round(pixels.shape[0] * WIDTH_PX / pixels.shape[1])
    bgr = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGBA2BGR)
    return cv2.resize(bgr, (WIDTH_PX, height), interpolation=cv2.INTER_AREA)


def alike(one: np.ndarray, other: np.ndarray) -> float:
    """Give the share of what has a colour in either picture that has the same in both.

    Colours tell measured, before and after apart; black letters and grey paper tell no decision.
    """
    if one.shape != other.shape:
        return 0.0
    first, second = (cv2.GaussianBlur(p.astype(np.float32), (0, 0), BLUR_PX) for p in (one, other))
    drawn = np.maximum(np.ptp(first, axis=-1), np.ptp(second, axis=-1)) > COLOURED
    return float((np.abs(first - second).max(-1)[drawn] < TONES).mean()) if drawn.any() else 1.0


def path_of(name: str) -> Path:
    """Give the file of a golden picture."""
    return FOLDER / f"picture_{name}.png"


if __name__ == "__main__":
    for name, picture in made().items():
        cv2.imwrite(str(path_of(name)), picture, [cv2.IMWRITE_PNG_COMPRESSION, 9])
