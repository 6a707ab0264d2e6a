"""Make the demo again: every file in this folder but the README and the scripts. The same bytes every time.

    python demo_bite/make_demo.py [FOLDER] [NAME ...]

FOLDER is this script's own by default; with names, only those frames are made.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bite.files.atomic import write_text
from demo_bite.roles import ROLES, Role
from demo_bite.scene.anatomy import draw_anatomy
from demo_bite.scene.card import write_cards
from demo_bite.scene.simulate import SimulatedFrame, simulate
from demo_bite.scene.write import Export, Model, write_frame

CAST = """\
# Lantern Row is an invented company; its performers are invented, and named after shore birds
format = "bite-cast 1"
name = "Lantern Row: The Tide Clock"
performance_device = "bench-depth"
tolerance_mm = 0.5
frames = ["*/*.bite.toml"]

[device.bench-depth]
smoothing_px = 2.0
smoothing_sd_px = 0.7
enamel_bias_mm = 0.15
enamel_bias_sd_mm = 0.08
noise_mm = 0.4
correlation_px = 1.5
"""
PAIR = """\
# an invented pair of head-worn cameras: two views and no depth sensor, so nothing of one is stated
[device.head-pair]
"""
DEVICE = """\
# an invented device: no real sensor was measured
[device.bench-depth]
smoothing_px = 2.0
smoothing_sd_px = 0.7
enamel_bias_mm = 0.15
enamel_bias_sd_mm = 0.08
noise_mm = 0.4
correlation_px = 1.5
"""


def make(folder: Path, roles: tuple[Role, ...] = ROLES) -> dict[str, str]:
    """Make frames into a folder, and give the truth table of each by frame name."""
    import numpy as np

    tables = {}
    for role in roles:
        person = None
        if role.person is not None:
            person = draw_anatomy(np.random.default_rng(role.person), role.settings.bite)
        simulated = simulate(np.random.default_rng(role.seed), role.settings, anatomy=person)
        for export, fair in zip(role.exports, role.fair, strict=True):
            if export.device == "head-pair":
                (folder / export.performer).mkdir(parents=True, exist_ok=True)
                write_text(folder / export.performer / export.device_file, PAIR)
            write_frame(folder / export.performer, simulated, export)
            verdicts = ", ".join(f'"{verdict}"' for verdict in fair)
            tables[export.name] = f"fair_verdicts = [{verdicts}]\n" + _truth(simulated, role, export)
    return tables


def _truth(simulated: SimulatedFrame, role: Role, export: Export) -> str:
    truth, sensor, beard = simulated.truth, simulated.settings.sensor, simulated.settings.beard
    planted = [
        f"t_mm = {round(truth.t_mm - export.moved_mm, 6)}",
        f"right_mm = {truth.right_mm}",
        f"up_mm = {truth.up_mm}",
    ]
    if export.model is Model.NONE:
        planted = []
    states = ", ".join(f'{code} = "{p.state}"' for code, p in simulated.views[0].corners.items())
    lines = [
        f"about = {json.dumps(role.about)}",
        *planted,
        f"overjet_mm = {truth.overjet_mm:.4f}",
        f"overbite_mm = {truth.overbite_mm:.4f}",
        f"occlusal_pitch_rad = {truth.occlusal_pitch_rad:.6f}",
        f"enamel_bias_mm = {truth.enamel_bias_mm if simulated.depth_mm is not None else 0.0}",
        f"smoothing_px = {sensor.smoothing_px}",
        f"noise_mm = {sensor.noise_mm}",
        *([] if beard is None else [f"beard_mm = {beard.height_mm}"]),
        f"states = {{ {states} }}",
    ]
    return "\n".join(lines)


def main(words: list[str]) -> None:
    """Make the whole demo, or the frames named."""
    folder = Path(words[0]) if words else Path(__file__).resolve().parent
    chosen = tuple(r for r in ROLES if not words[1:] or any(e.name in words[1:] for e in r.exports))
    folder.mkdir(parents=True, exist_ok=True)
    tables = make(folder, chosen)
    write_text(folder / "cast.toml", CAST)
    write_text(folder / "bench-depth.device.toml", DEVICE)
    if chosen == ROLES:
        write_cards(folder / "cards")
        head = 'about = "planted values of the computed frames: what a measurement should find"\n'
        body = "".join(f"\n[frame.{name}]\n{table}\n" for name, table in sorted(tables.items()))
        write_text(folder / "truth.toml", head + body)


if __name__ == "__main__":
    main(sys.argv[1:])
