"""Frames of one kind of the demo, drawn anew: the head-worn pair of grey cameras, or a beard.

    python -m tests.coverage.demo_kinds pair --frames 12
    python -m tests.coverage.demo_kinds beard --frames 10 --first 900

Each frame is another performer with clicks and noise of its own, and is answered twice: as the demo has it,
and without what makes it special (the pair by clicks and landmarks alone, the bearded one shaved). Printed
are error and sd of both, and what the check had to say beside `ok`. Pictures of the pair are made with one
ray a pixel, or a frame would take minutes.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

import demo_bite.scene.picture
from bite.check.assessment import Assessment
from bite.check.finding import Severity
from bite.check.steps import check_frame
from bite.files.frame import StereoEntry
from demo_bite.roles import ROLES
from demo_bite.scene import Detail, Settings, as_bite_frame, simulate


def settings_of(name: str) -> Settings:
    """Give what a frame of the demo was made with."""
    return next(role.settings for role in ROLES if role.exports[0].name == name)


def pair(seed: int) -> tuple[Assessment, Assessment, float]:
    """Check one pair, matched and by clicks alone; also give what was planted, mm."""
    settings = replace(settings_of("stilt-h01"), scene_detail=Detail.MEDIUM)
    frame = as_bite_frame(simulate(np.random.default_rng(seed), settings))
    matched = replace(frame, file=replace(frame.file, depth=StereoEntry(("front", "side"))))
    return check_frame(matched), check_frame(frame), settings.t_mm


def beard(seed: int) -> tuple[Assessment, Assessment, float]:
    """Check one performer with a beard and without; also give what was planted, mm."""
    settings = settings_of("ruff-a04")
    settings = replace(settings, picture=None, shot=replace(settings.shot, region_mm=75.0))
    found = [
        check_frame(as_bite_frame(simulate(np.random.default_rng(seed), replace(settings, beard=grown))))
        for grown in (settings.beard, None)
    ]
    return found[0], found[1], settings.t_mm


def main() -> None:
    """Draw frames and print what came out."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("kind", choices=("pair", "beard"))
    parser.add_argument("--frames", type=int, default=10)
    parser.add_argument("--first", type=int, default=700)
    arguments = parser.parse_args()
    demo_bite.scene.picture._OVER = 1
    kind = {"pair": pair, "beard": beard}[arguments.kind]
    rows = []
    for seed in range(arguments.first, arguments.first + arguments.frames):
        special, plain, planted = kind(seed)
        told = [f"{f.code} {f.severity}" for f in special.findings if f.severity is not Severity.OK]
        offsets = [found.fit.offset for found in (special, plain) if found.fit is not None]
        rows.append([part for offset in offsets for part in (offset.value - planted, offset.sd)])
        shown = " and ".join(f"{o.value - planted:+.2f} +- {o.sd:.2f}" for o in offsets)
        print(f"{seed}: {shown} mm; {special.decision.verdict}; {', '.join(told)}", flush=True)
    table = np.array(rows)
    for words, off, sd in (("as in the demo", *table.T[:2]), ("plain", *table.T[2:])):
        held = int((np.abs(off) < 1.96 * sd).sum())
        rms = np.sqrt(np.mean(off**2))
        print(f"{words}: bias {off.mean():+.3f}, rmse {rms:.3f}, sd {sd.mean():.3f} mm, {held} held")


if __name__ == "__main__":
    main()
