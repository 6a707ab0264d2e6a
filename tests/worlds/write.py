"""A frame of a world written as files: meshes, rig, cameras, pictures, depth map, corners, device, truth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.worlds.camera import WorldCamera
from tests.worlds.description import Storage, Teeth, World
from tests.worlds.filters import smoothing_px
from tests.worlds.look import look
from tests.worlds.picture import Click, clicked
from tests.worlds.scene import PARTS, Scene, Solved, draw_scene, draw_solved, own_rng
from tests.worlds.sensor import INVERSE_PER_M, read_depth, stored_values

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FRAME = "world.bite.toml"
TRUTH = "truth.json"
DIAL_MM_PER_UNIT = 3.0


def write_frame(world: World, number: int, folder: Path, wheel: Path, kept: Path | None = None) -> Path:
    """Write one frame of a world and its truth; give the frame file. The truth is written last.

    ``kept`` is a folder for what cameras see of the scene, for other worlds with the same scenes.
    """
    scene = draw_scene(world, number, wheel)
    return write_scene(world, number, scene, draw_solved(world, number, scene), folder, kept)


def write_scene(
    world: World, number: int, scene: Scene, solved: Solved, folder: Path, kept: Path | None = None
) -> Path:
    """Write one frame of a scene that need not be the one a world draws; else as ``write_frame``."""
    folder.mkdir(parents=True, exist_ok=True)
    seen = look(world, number, scene, kept)
    ending = "tiff" if world.sensor.storage is Storage.DISPARITY else "png"
    several = world.sensor.repeats > 1
    for turn in range(world.sensor.repeats):
        again = own_rng(world, number, f"reading {turn}") if several else None
        rng = own_rng(world, number, "sensor")
        reading = read_depth(seen.depth_mm, seen.enamel, seen.slant, world.sensor, rng, again)
        stored = stored_values(reading.depth_mm, world.sensor)
        whole = np.zeros((scene.depth.height_px, scene.depth.width_px), dtype=stored.dtype)
        at = seen.window
        whole[at.top : at.top + at.height, at.left : at.left + at.width] = stored
        _write_image(folder / (f"depth{turn:03d}.{ending}" if several else f"depth.{ending}"), whole)
    named = f'maps = ["depth*.{ending}"]' if several else f'map = "depth.{ending}"'

    stated = replace(
        scene.depth,
        focal_px=scene.depth.focal_px * (1.0 + world.shot.focal_share),
        centre_px=(scene.depth.centre_px[0] - world.shot.registration_px, scene.depth.centre_px[1]),
    )
    _write_camera(folder / "depth.camera.yaml", stated)
    _write_views(world, number, scene, seen.pictures, folder)
    _write_meshes(scene, solved.skin_mm, solved.teeth_mm, folder)
    _write_rig(world, scene, folder / "rig.toml")
    unit = "unit_mm = 1.0"
    if world.sensor.storage is Storage.STEPS:
        unit = f"unit_mm = {world.sensor.step}"
    elif world.sensor.storage is Storage.INVERSE:
        unit = f"inverse_per_m = [{INVERSE_PER_M[0]}, {INVERSE_PER_M[1]}]"
    views = ["front"] + (["side"] if scene.second else [])
    pose = ", ".join("[" + ", ".join(f"{v:.9f}" for v in row) + "]" for row in solved.pose)
    frame = folder / FRAME
    frame.write_text(
        f'format = "bite-frame 1"\nname = "world-{number}"\nperformer = "world-{number}"\ndevice = "made"\n'
        + "".join(
            f'[[view]]\nname = "{v}"\nimage = "{v}.png"\n'
            f'camera = "{v}.camera.yaml"\ncorners = "{v}.corners.json"\n'
            for v in views
        )
        + f'[depth]\n{named}\n{unit}\ncamera = "depth.camera.yaml"\n'
        f'[solved]\nmesh = "solved.obj"\nunit_mm = 1.0\npose = [{pose}]\nrig = "rig.toml"\ndial = 0.0\n',
        encoding="utf-8",
    )
    _write_device(world, folder / "made.device.toml")
    truth = {
        "world": world.name,
        "number": number,
        "t_mm": solved.offset_mm,
        "smoothing_px": smoothing_px(world.sensor.filter, reading.width_px),
    }
    truth |= {"gross_share": reading.gross_share} | scene.drawn
    (folder / TRUTH).write_text(json.dumps(truth, indent=1), encoding="utf-8")
    return frame


def _write_views(
    world: World, number: int, scene: Scene, pictures: dict[str, NDArray[np.uint8]], folder: Path
) -> None:
    for name, camera in (("front", scene.photo), ("side", scene.second)):
        if camera is None:
            continue
        rng = own_rng(world, number, name)
        _write_image(folder / f"{name}.png", pictures[name][..., ::-1])
        _write_camera(folder / f"{name}.camera.yaml", camera)
        corners = {code: _as_json(click) for code, click in clicked(scene, camera, world.clicks, rng).items()}
        held = {"file": f"{name}.png", "width": camera.width_px, "height": camera.height_px}
        text = json.dumps({"format": "bite-corners 1", "image": held, "points": corners})
        (folder / f"{name}.corners.json").write_text(text, encoding="utf-8")


def _as_json(click: Click) -> dict[str, float | str]:
    if click.state == "hidden":
        return {"state": "hidden"}
    return {
        "x": round(float(click.x), 3),
        "y": round(float(click.y), 3),
        "state": click.state,
        "sigma_px": click.sigma_px,
    }


def _write_meshes(scene: Scene, solved_skin: Array, solved_teeth: Array, folder: Path) -> None:
    shift = len(scene.skin_mm)
    faces = "".join(
        f"g {part}\n"
        + _rows(
            "f %d %d %d\n",
            1 + (scene.skin_faces if part == "skin" else scene.solved_teeth.faces[part] + shift),
        )
        for part in PARTS
    )
    for name, skin, teeth in (
        ("rest", scene.rest_skin_mm, scene.solved_teeth.vertices_mm),
        ("solved", solved_skin, solved_teeth),
    ):
        points = np.concatenate([skin, teeth])
        (folder / f"{name}.obj").write_text(_rows("v %.5f %.5f %.5f\n", points) + faces, encoding="ascii")


def _rows(form: str, values: Array | Ints) -> str:
    return (form * len(values)) % tuple(values.ravel().tolist())


def teeth_told(world: World) -> str:
    """Say of a world's rig whose its crowns are: a rig's builder knows whether he had a scan."""
    return "scanned" if world.teeth == Teeth(scanned_mm=world.teeth.scanned_mm) else "modelled"


def _write_rig(world: World, scene: Scene, path: Path) -> None:
    shift = len(scene.skin_mm)
    corners = "\n".join(f"{code} = {at + shift}" for code, at in scene.solved_teeth.corners.items())
    landmarks = "\n".join(f"{name} = {at}" for name, at in scene.landmarks.items())
    path.write_text(
        'format = "bite-rig 1"\nrest = "rest.obj"\nunit_mm = 1.0\n'
        "forward = [0.0, 0.0, 1.0]\nup = [0.0, 1.0, 0.0]\n"
        f'teeth = "{teeth_told(world)}"\n'
        '[parts]\nskin = ["skin"]\nupper = ["upper"]\nlower = ["lower"]\nother = ["gum"]\n'
        f"[corners]\n{corners}\n[landmarks]\n{landmarks}\n"
        f'[dial]\npositive = "back"\nmm_per_unit = {DIAL_MM_PER_UNIT}\n',
        encoding="utf-8",
    )


def _write_device(world: World, path: Path) -> None:
    told = world.device
    lines = [f"enamel_bias_mm = {told.enamel_bias_mm}", f"enamel_bias_sd_mm = {told.enamel_bias_sd_mm}"]
    if told.filter:
        lines.append(f'filter = "{told.filter}"')
    if told.smoothing_px:
        lines += [f"smoothing_px = {told.smoothing_px}", f"smoothing_sd_px = {told.smoothing_sd_px}"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _write_camera(path: Path, camera: WorldCamera) -> None:
    (cx, cy), f = camera.centre_px, camera.focal_px
    matrices = {
        "camera_matrix": np.array([[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]]),
        "distortion_coefficients": np.array([camera.distortion]),
    }
    if camera.translation_mm.any() or not np.array_equal(camera.rotation, np.eye(3)):
        matrices |= {"rotation": camera.rotation, "translation_mm": camera.translation_mm[:, None]}
    text = f"%YAML:1.0\n---\nimage_width: {camera.width_px}\nimage_height: {camera.height_px}\n"
    for name, values in matrices.items():
        data = ", ".join(f"{v:.12g}" for v in values.ravel())
        rows, columns = values.shape
        text += (
            f"{name}: !!opencv-matrix\n   rows: {rows}\n   cols: {columns}\n   dt: d\n   data: [ {data} ]\n"
        )
    path.write_text(text, encoding="utf-8")


def _write_image(path: Path, values: NDArray[np.generic]) -> None:
    if not cv2.imwrite(str(path), values):
        raise OSError(f"{path} could not be written")
