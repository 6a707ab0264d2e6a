"""Simulated cards through bite's own loader and measurement, for the tests of this folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bite.device.measured import DeviceMeasured, measure_device
from bite.files.bundle import load_frame
from tests.device.simulated import Scene, readings, write_card


def measured(folder: Path, scenes: Sequence[Scene], seed: int = 1) -> DeviceMeasured:
    """Write cards with a seed each, and measure them together."""
    frames = []
    for k, scene in enumerate(scenes):
        depth = readings(scene, np.random.default_rng([seed, k]))
        path = write_card(folder, f"card{k}", depth, unit_mm=scene.step_mm)
        frames.append(load_frame(path, with_corners=False))
    return measure_device(frames)


def window_sd(scene: Scene) -> float:
    """Sd of the planted filter's window: a Gaussian's own, or that of w taps in a row, from their sum."""
    if scene.kind in ("box", "median"):
        taps = np.arange(scene.size) - (scene.size - 1) / 2
        return float(np.sqrt(np.mean(taps**2)))
    return scene.size
