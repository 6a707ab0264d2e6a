"""The whole way, from files to an offset, on a head that somebody else modelled.

The depth camera and the photograph are made here: rendered, blurred over 2 pixels, 0.4 mm of correlated
noise, 1 % of wild pixels.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from bite.check.decision import Verdict
from bite.check.steps import check_frame
from bite.files.bundle import load_frame
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, face_normals, render
from bite.geometry.rigid import frozen
from bite.geometry.teeth import LOWER, SKIN, UPPER
from tests.external.open_head import CORNERS, LANDMARKS, MIDLINE_EDGE, USUAL_BITE, OpenHead

pytestmark = pytest.mark.network

FORWARD = np.array([0.0, 0.0, 1.0])
DISTANCE_MM = 300.0
DEPTH_CAMERA = Camera(
    640, 480, frozen([[600, 0, 319.5], [0, 600, 239.5], [0, 0, 1]]), frozen([0.02, -0.03, 0, 0])
)
PHOTO_CAMERA = Camera(
    1280, 960, frozen([[1400, 0, 639.5], [0, 1400, 479.5], [0, 0, 1]]), frozen([0.04, -0.05, 0, 0])
)


def camera_frame(head: OpenHead, points: np.ndarray) -> np.ndarray:
    return (points - head.rest_mm[MIDLINE_EDGE["upper"]]) * [1.0, -1.0, -1.0] + [0.0, 0.0, DISTANCE_MM]


def all_faces(head: OpenHead) -> tuple[np.ndarray, np.ndarray]:
    faces = np.concatenate([head.faces[part] for part in ("skin", "upper", "lower")])
    part = np.repeat([SKIN, UPPER, LOWER], [len(head.faces[p]) for p in ("skin", "upper", "lower")])
    return faces, part


def write_obj(path: Path, vertices: np.ndarray, head: OpenHead) -> None:
    lines = ["v " + " ".join(f"{x:.5f}" for x in row) for row in vertices]
    for part in ("skin", "upper", "lower"):
        lines.append(f"g {part}")
        lines += ["f " + " ".join(str(k + 1) for k in face) for face in head.faces[part]]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_camera(path: Path, camera: Camera) -> None:
    def matrix(name: str, values: np.ndarray) -> str:
        values = np.atleast_2d(values)
        data = ", ".join(f"{v:.10g}" for v in values.ravel())
        rows, columns = values.shape
        return (
            f"{name}: !!opencv-matrix\n   rows: {rows}\n   cols: {columns}\n   dt: d\n   data: [ {data} ]\n"
        )

    path.write_text(
        f"%YAML:1.0\n---\nimage_width: {camera.width_px}\nimage_height: {camera.height_px}\n"
        + matrix("camera_matrix", camera.matrix)
        + matrix("distortion_coefficients", camera.distortion),
        encoding="utf-8",
    )


def photograph(points: np.ndarray, faces: np.ndarray, part: np.ndarray) -> np.ndarray:
    seen = render(Grid.of(PHOTO_CAMERA), points, faces)
    normal = face_normals(points, faces)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-12
    light = 0.45 + 0.55 * np.abs(normal[:, 2])
    colour = np.array([[175, 120, 100], [225, 220, 205], [215, 208, 192]], float)[part] * light[:, None]
    image = np.where(seen.face[..., None] >= 0, colour[seen.face], 30.0)
    return cv2.GaussianBlur(image.astype(np.float32), (0, 0), 0.8).clip(0, 255).astype(np.uint8)


def write_frame(folder: Path, head: OpenHead, offset_mm: float, seed: int, smoothing_px: float = 2.0) -> Path:
    """Write a bite frame whose digital teeth must move by offset_mm along forward."""
    rng = np.random.default_rng(seed)
    true = camera_frame(head, head.shaped(rows_mm=USUAL_BITE))
    faces, part = all_faces(head)
    back = tuple(-offset_mm * FORWARD)
    lower = tuple(np.add(back, USUAL_BITE["lower"]))
    write_obj(folder / "solved.obj", head.shaped(rows_mm={"upper": back, "lower": lower}), head)
    write_obj(folder / "rest.obj", head.rest_mm, head)

    seen = render(Grid.of(DEPTH_CAMERA), true, faces)
    solid = np.isfinite(seen.depth_mm)
    depth = gaussian_filter(np.where(solid, seen.depth_mm, 0.0), smoothing_px) / np.maximum(
        gaussian_filter(solid.astype(float), smoothing_px), 1e-9
    )
    noise = gaussian_filter(rng.normal(size=depth.shape), 1.5)
    depth += 0.4 * noise / noise.std()
    wild = rng.random(depth.shape) < 0.01
    depth[wild] += rng.normal(0.0, 6.0, int(wild.sum()))
    stored = np.where(solid, np.round(depth / 0.05), 0).clip(0, 65535).astype(np.uint16)
    cv2.imwrite(str(folder / "depth.png"), stored)
    cv2.imwrite(str(folder / "front.png"), photograph(true, faces, part)[..., ::-1])
    write_camera(folder / "front.camera.yaml", PHOTO_CAMERA)
    write_camera(folder / "depth.camera.yaml", DEPTH_CAMERA)
    clicks = PHOTO_CAMERA.project(true[[CORNERS["11d"], CORNERS["21d"]]]) + rng.normal(0.0, 0.7, (2, 2))
    # the mesh has the performer's left at the picture's right, as an unmirrored picture does
    points = ", ".join(
        f'"{code}": {{"x": {x:.2f}, "y": {y:.2f}, "state": "seen", "sigma_px": 0.7}}'
        for code, (x, y) in zip(("11d", "21d"), clicks, strict=True)
    )
    points += ', "41d": {"state": "hidden"}, "31d": {"state": "hidden"}'
    (folder / "front.corners.json").write_text(
        '{"format": "bite-corners 1", "image": {"file": "front.png", "width": 1280, "height": 960},'
        ' "points": {'
        + points
        + "}}",
        encoding="utf-8",
    )
    corners = "\n".join(f"{code} = {number}" for code, number in CORNERS.items())
    landmarks = "\n".join(f"{name} = {number}" for name, number in LANDMARKS.items())
    (folder / "rig.toml").write_text(
        'format = "bite-rig 1"\nrest = "rest.obj"\nunit_mm = 1.0\nforward = [0.0, 0.0, 1.0]\n'
        'up = [0.0, 1.0, 0.0]\n'
        '[parts]\nskin = ["skin"]\nupper = ["upper"]\nlower = ["lower"]\n'
        f"[corners]\n{corners}\n[landmarks]\n{landmarks}\n"
        '[dial]\npositive = "back"\nmm_per_unit = 3.0\n',
        encoding="utf-8",
    )
    edge = head.rest_mm[MIDLINE_EDGE["upper"]]
    pose = [[1.0, 0, 0, -edge[0]], [0, -1.0, 0, edge[1]], [0, 0, -1.0, edge[2] + DISTANCE_MM], [0, 0, 0, 1.0]]
    rows = ", ".join("[" + ", ".join(f"{v:.6f}" for v in row) + "]" for row in pose)
    frame = folder / "open.bite.toml"
    frame.write_text(
        f'format = "bite-frame 1"\nname = "open"\nperformer = "open"\ndevice = "made"\n'
        '[[view]]\nname = "front"\nimage = "front.png"\ncamera = "front.camera.yaml"\n'
        'corners = "front.corners.json"\n'
        '[depth]\nmap = "depth.png"\nunit_mm = 0.05\ncamera = "depth.camera.yaml"\n'
        f'[solved]\nmesh = "solved.obj"\nunit_mm = 1.0\npose = [{rows}]\nrig = "rig.toml"\ndial = 0.0\n',
        encoding="utf-8",
    )
    (folder / "made.device.toml").write_text(
        "enamel_bias_mm = 0.0\nenamel_bias_sd_mm = 0.02\n", encoding="utf-8"
    )
    return frame


@pytest.mark.slow
@pytest.mark.parametrize(("offset_mm", "seed"), [(1.6, 1), (-1.3, 2), (0.0, 3)])
def test_a_planted_offset_comes_back(
    open_head: OpenHead, tmp_path: Path, offset_mm: float, seed: int
) -> None:
    found = check_frame(load_frame(write_frame(tmp_path, open_head, offset_mm, seed)))
    assert found.fit is not None
    error = found.fit.offset.value - offset_mm
    # three sd: one honest run in 370 misses; and never worse than the accuracy stated for a wide grin, three
    # times over
    assert abs(error) < 3.0 * found.fit.offset.sd
    assert abs(error) < 0.3
    assert found.fit.offset.sd < 0.2
    if offset_mm:
        assert found.decision.verdict is Verdict.MOVE
        assert found.decision.move is not None
        # positive is back on this rig, 3 mm a unit, step 0.01: half a step of rounding is 0.015 mm
        assert found.decision.move.after == pytest.approx(-found.fit.offset.value / 3.0, abs=0.0051)


@pytest.mark.slow
def test_rows_as_modelled_stand_open_and_are_refused(open_head: OpenHead, tmp_path: Path) -> None:
    frame = load_frame(write_frame(tmp_path, open_head, 0.5, 4))
    view = frame.views[0]
    assert view.corners is not None
    true = camera_frame(open_head, open_head.shaped())
    faces, part = all_faces(open_head)
    seen = {c: PHOTO_CAMERA.project(true[[n]])[0] for c, n in CORNERS.items()}
    points = {
        code: replace(view.corners.points["11d"], x_px=float(x), y_px=float(y))
        for code, (x, y) in seen.items()
    }
    opened = replace(view, corners=replace(view.corners, points=points), image=photograph(true, faces, part))
    found = check_frame(replace(frame, views=(opened,)))
    gap = next(finding for finding in found.findings if finding.code == "bite-gap")
    # published nowhere: measured on the mesh itself, where the incisal corners stand 0.81 mm apart along up
    assert gap.measured == pytest.approx(0.81, abs=0.3)
    assert found.decision.verdict is Verdict.RESHOOT
