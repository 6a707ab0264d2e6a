"""A small bite frame with every kind of file, all values invented, written into a folder."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

WIDTH, HEIGHT = 80, 64

FRAME = """format = "bite-frame 1"
name = "tern-a07"
performer = "tern"
device = "bench-depth"

[[view]]
name = "front"
image = "front.png"
camera = "front.camera.yaml"
corners = "front.corners.json"

[depth]
map = "front.depth.png"
unit_mm = 0.1
view = "front"

[solved]
mesh = "solved.obj"
unit_mm = 10.0
axes = "opencv"
rig = "rig/rig.toml"
dial = 0.0
"""

CAMERA = """%YAML:1.0
---
image_width: 80
image_height: 64
camera_matrix: !!opencv-matrix
   rows: 3
   cols: 3
   dt: d
   data: [ 100., 0., 39.5, 0., 100.,
       31.5, 0., 0., 1. ]
distortion_coefficients: !!opencv-matrix
   rows: 1
   cols: 5
   dt: d
   data: [ 0.01, -0.02, 0., 0., 0. ]
"""

CORNERS = """{"format": "bite-corners 1", "image": {"file": "front.png", "width": 80, "height": 64},
 "points": {"11d": {"x": 32.4, "y": 33.9, "state": "seen", "sigma_px": 0.8},
            "31d": {"x": 45.1, "y": 41.0, "state": "covered"}, "41d": {"state": "hidden"}},
 "landmarks": {"subnasale": {"x": 40.0, "y": 20.2}}, "annotator": "ab", "saved": "2026-01-31T10:02:11Z"}
"""

RIG = """format = "bite-rig 1"
rest = "rest.obj"
unit_mm = 10.0
forward = [0.0, 0.0, 2.0]
up = [0.0, 1.0, 0.1]

[parts]
skin = ["face"]
upper = ["teeth_up"]
lower = { vertices = [8, 11] }
other = ["gums"]

[corners]
11d = 4
21d = 5

[landmarks]
subnasale = 0

[dial]
positive = "back"
mm_per_unit = 3.2
"""

DEVICE = """[device.bench-depth]
smoothing_px = 3.0
smoothing_sd_px = 1.5
enamel_bias_mm = 0.4
"""

PROFILE = "along_mm,depth_mm,region\n" + "".join(f"{i},{300 + i / 10},skin\n" for i in range(10))

CAST = """format = "bite-cast 1"
name = "birds"
performance_device = "head-worn"
frames = ["*/*.bite.toml"]

[device.head-worn]
noise_mm = 0.3
"""


def quads(shift: float = 0.0) -> str:
    """OBJ text: four separate squares, one a part, each below the one before; in cm, 30 cm in front."""
    lines = ["# four squares", "mtllib none.mtl"]
    for number, name in enumerate(("face", "teeth_up", "teeth_low", "gums")):
        z = 30.0 + number / 10 + shift
        lines.append(f"o {name}")
        lines += [f"v {x} {y - number} {z}" for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
        first = 4 * number + 1
        lines.append(f"f {first} {first + 1} {first + 2} {first + 3}")
    return "\n".join(lines) + "\n"


def write_frame(folder: Path) -> Path:
    """Write all files of the frame; give the frame file's path."""
    (folder / "rig").mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(7)
    picture = rng.integers(0, 256, (HEIGHT, WIDTH, 3), dtype=np.uint8)
    depth = np.full((HEIGHT, WIDTH), 3000, np.uint16)
    depth[0, :5] = 0
    (folder / "front.png").write_bytes(cv2.imencode(".png", picture)[1].tobytes())
    (folder / "front.depth.png").write_bytes(cv2.imencode(".png", depth)[1].tobytes())
    texts = {
        "front.camera.yaml": CAMERA,
        "front.corners.json": CORNERS,
        "rig/rig.toml": RIG,
        "rig/rest.obj": quads(),
        "solved.obj": quads(0.05),
        "bench-depth.device.toml": DEVICE,
        "midline.csv": PROFILE,
        "tern-a07.bite.toml": FRAME,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "tern-a07.bite.toml"
