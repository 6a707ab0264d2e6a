"""How well could any unbiased estimator do in a world? The Cramer-Rao bound, from the worlds' own renderer.

    python -m tests.worlds.bound --world "wide grin,thin strip,smoothing 3.5" --frames 6

Nothing of the program is asked: each unknown is moved a little to either side, the scene is cast again along
the same rays, and the difference of the filtered maps is its slope. The noise is what ``sensor`` adds, so
that its covariance is known: over a rectangle of pixels it is a product of rows and columns, which whitens
exactly. Upper corners in sight are clicks of the stated sd. Three bounds a frame, mm, forward offset:

``exact``   the solved model is right but for its pose (drawn as the world draws it); unknown beside forward:
            right, up, size, pose, blur, enamel bias
``read``    each lip, moreover, was solved too high or too low and is read to 0.1 mm in the picture
``slid``    the same, known to 0.5 mm only

and ``plain``: what least squares that takes pixels for independent would reach where the lips are read.
Left out: holes, wild pixels, covered corners and waves of the skin, of which only the last cost anything in
the three worlds, where there are none.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.worlds.description import Filter, Sensor, World
from tests.worlds.every import WORLDS
from tests.worlds.face import lower_lip, upper_lip
from tests.worlds.filters import filtered
from tests.worlds.picture import clicked
from tests.worlds.rays import Window, cast
from tests.worlds.scene import LOWER, UPPER, Scene, draw_scene, own_rng, scene_rng
from tests.worlds.sensor import area_means
from tests.worlds.skin_error import rotation
from tests.worlds.wheel import wheel

Array = NDArray[np.float64]

AROUND_MM = 14.0
"""Skin this far about the teeth is counted in."""
WALL_MM = 40.0
STEP_MM, STEP_RAD, STEP_LOG, STEP_PX = 0.15, 0.003, 0.01, 0.05
PER_SIDE = 5
LATERAL_SD_MM, LOG_SIZE_SD, BLUR_SD_PX = 2.0, 0.069, 1.5
"""What the program believes where a device tells nothing; sizes of crowns vary by 6.9 % (Kaewplung 2008)."""
LIP_READ_MM, LIP_SLID_MM = 0.1, 0.5

UNKNOWNS = ("forward", "right", "up", "x", "y", "z", "turn x", "turn y", "turn z", "size",
            "upper lip", "lower lip", "blur", "enamel")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Bounds:
    """Smallest sd of a forward offset, mm; see the module."""

    exact_mm: float
    read_mm: float
    slid_mm: float
    plain_mm: float


def bounds(world: World, number: int) -> Bounds:
    """Find the bounds of one frame of a world with a Gaussian filter."""
    if world.sensor.filter is not Filter.GAUSS:
        raise ValueError(f"{world.name}: only Gaussian filters have slopes here")
    scene = draw_scene(world, number, wheel())
    # the width that `write_frame` draws first of all
    width_px = float(own_rng(world, number, "sensor").uniform(*world.sensor.width_px))
    slopes = depth_slopes(world, number, scene, width_px)
    clicks = click_information(world, number, scene)

    def sd(lips_mm: float, information: Array) -> float:
        """Give the sd of forward where the lips are known so well."""
        prior = prior_precision(world, lips_mm)
        return float(np.sqrt(np.linalg.inv(information + clicks + np.diag(prior))[0, 0]))

    known = whitened_information(slopes, world.sensor)
    return Bounds(
        sd(1e-4, known), sd(LIP_READ_MM, known), sd(LIP_SLID_MM, known), _plain(slopes, world, clicks)
    )


def prior_precision(world: World, lips_mm: float) -> Array:
    """Give what is known of each unknown beforehand, in the order of UNKNOWNS."""
    head = [world.skin.head_sd_mm] * 3 + [np.radians(world.skin.head_sd_deg)] * 3
    sd = [np.inf, LATERAL_SD_MM, LATERAL_SD_MM, *head, LOG_SIZE_SD, lips_mm, lips_mm, BLUR_SD_PX]
    return np.array([*sd, world.device.enamel_bias_sd_mm]) ** -2.0


def depth_slopes(world: World, number: int, scene: Scene, width_px: float) -> Array:
    """Give d(filtered depth)/d(unknown) over a rectangle about the teeth, shape (14, h, w)."""
    skin = len(scene.skin_mm)
    start = scene.vertices_mm
    teeth = start[skin:]
    front = teeth[np.abs(teeth[:, 0]) < 28.0]
    across = (float(front[:, 0].min()) - AROUND_MM, float(front[:, 0].max()) + AROUND_MM)
    down = (-6.0 - AROUND_MM, 10.0 + AROUND_MM)
    corners = scene.in_camera(np.array([[x, y, 0.0] for x in across for y in down]))
    pixels = scene.depth.project(corners)
    first, last = np.floor(pixels.min(0)).astype(int), np.ceil(pixels.max(0)).astype(int)
    window = Window(int(first[0]), int(first[1]), *(int(v) for v in last - first + 1))
    lips = {"upper lip": upper_lip(scene.plain_mm), "lower lip": lower_lip(scene.plain_mm)}
    middle = scene.camera_from_mouth[:3, 3]

    def seen(change: Callable[[Array], Array], turned: Array) -> tuple[Array, Array]:
        """Cast along the same rays as ever: depth means and share of enamel."""
        placed = (scene.in_camera(change(start)) - middle) @ rotation(turned[3:]).T + middle + turned[:3]
        rng = np.random.default_rng([number, 77])
        rays = cast(scene.depth, window, placed, scene.faces, per_side=PER_SIDE, rng=rng)
        kind = np.where(rays.face >= 0, scene.part[rays.face], -1)
        # rays that meet nothing, deep in the mouth, end in a wall: a reading that is missing would be a sharp
        # edge in the slopes, and nothing that a sensor smoothed is sharp
        far = np.where(rays.face >= 0, rays.depth_mm, middle[2] + WALL_MM).astype(np.float32)
        return area_means(far), ((kind == UPPER) | (kind == LOWER)).mean(-1)

    def moved(name: str, step: float) -> tuple[Callable[[Array], Array], Array, float]:
        """Give what to do to vertices and pose, and the step in the unknown's unit."""
        turned = np.zeros(6)
        way = {"forward": (0.0, 0.0, 1.0), "right": (-1.0, 0.0, 0.0), "up": (0.0, 1.0, 0.0)}

        def change(points: Array) -> Array:
            points = points.copy()
            if name in way:
                points[skin:] += step * np.array(way[name])
            elif name == "size":
                points[skin:, :2] *= np.exp(step)
            elif name in lips:
                points[:skin, 1] += step * lips[name]
            return points

        if name in UNKNOWNS[3:9]:
            turned[UNKNOWNS.index(name) - 3] = step
        return change, turned, step

    still, enamel = seen(lambda points: points, np.zeros(6))
    out = np.zeros((len(UNKNOWNS), *still.shape))
    for k, name in enumerate(UNKNOWNS[:12]):
        size = STEP_LOG if name == "size" else STEP_RAD if name.startswith("turn") else STEP_MM
        ahead, back = (seen(*moved(name, sign * size)[:2])[0] for sign in (1.0, -1.0))
        ahead, back = (filtered(depth, Filter.GAUSS, width_px) for depth in (ahead, back))
        out[k] = (ahead - back) / (2.0 * size)
    wider, narrower = (filtered(still, Filter.GAUSS, width_px + d) for d in (STEP_PX, -STEP_PX))
    out[12] = (wider - narrower) / (2.0 * STEP_PX)
    out[13] = filtered(enamel, Filter.GAUSS, width_px)
    rim = int(np.ceil(3.0 * width_px))
    return out[:, rim:-rim, rim:-rim]


def click_information(world: World, number: int, scene: Scene) -> Array:
    """Give what the clicks of the upper corners say, shape (14, 14)."""
    codes = [c for c, k in clicked(scene, scene.photo, world.clicks, scene_rng(world, number, "none")).items()
             if c[0] in "12" and k.state == "seen"]  # fmt: skip
    at = np.array([scene.teeth.vertices_mm[scene.teeth.corners[c]] for c in codes]).reshape(-1, 3)
    total = np.zeros((len(UNKNOWNS), len(UNKNOWNS)))
    if not len(at):
        return total
    middle = scene.camera_from_mouth[:3, 3]
    ways = {0: (0.0, 0.0, 1.0), 1: (-1.0, 0.0, 0.0), 2: (0.0, 1.0, 0.0)}
    slopes = np.zeros((len(UNKNOWNS), at.size // 3 * 2))

    def shown(points: Array, turned: Array) -> Array:
        placed = (scene.in_camera(points) - middle) @ rotation(turned[3:]).T + middle + turned[:3]
        return scene.photo.project(placed).ravel()

    for k in range(10):
        ends = []
        for step in (1e-3, -1e-3):
            turned = np.zeros(6)
            points = at.copy()
            if k < 3:
                points += step * np.array(ways[k])
            elif k < 9:
                turned[k - 3] = step
            else:
                points[:, :2] *= np.exp(step)
            ends.append(shown(points, turned))
        slopes[k] = (ends[0] - ends[1]) / 2e-3
    return slopes @ slopes.T / world.clicks.corner_px**2


def whitened_information(slopes: Array, sensor: Sensor) -> Array:
    """Give J' C^-1 J, shape (14, 14), for noise of known covariance over the whole rectangle.

    White noise through a Gaussian of sd r has the correlation exp(-d^2 / (4 r^2)); storing in steps adds
    step^2 / 12, white.
    """
    _, height, width = slopes.shape
    turned, power = _axes(height, width, sensor)
    rows, columns = turned
    inner = np.einsum("ia,kij,jb->kab", rows, slopes, columns, optimize=True)
    weight = 1.0 / (sensor.noise_mm**2 * power + sensor.step**2 / 12.0)
    return np.einsum("kab,lab,ab->kl", inner, inner, weight, optimize=True)


def _axes(height: int, width: int, sensor: Sensor) -> tuple[tuple[Array, Array], Array]:
    """Give the principal axes of the noise along columns and rows, and the power of each pair."""
    axes, powers = [], []
    for count in (height, width):
        away = np.subtract.outer(np.arange(count), np.arange(count)).astype(float)
        reach = max(sensor.correlation_px, 1e-3)
        power, axis = np.linalg.eigh(np.exp(-((away / (2.0 * reach)) ** 2)))
        axes.append(axis)
        powers.append(np.maximum(power, 0.0))
    return (axes[0], axes[1]), np.multiply.outer(powers[0], powers[1])


def _plain(slopes: Array, world: World, clicks: Array) -> float:
    """Give the sd of least squares that weighs pixels as if independent, 4 pi r^2 of them as one."""
    sensor = world.sensor
    count, height, width = slopes.shape
    alike = max(1.0, 4.0 * np.pi * sensor.correlation_px**2)
    flat = slopes.reshape(count, -1)
    believed = flat @ flat.T / (sensor.noise_mm**2 * alike)
    prior = np.diag(prior_precision(world, LIP_READ_MM))
    bread = np.linalg.inv(believed + clicks + prior)
    (rows, columns), power = _axes(height, width, sensor)
    inner = np.einsum("ia,kij,jb->kab", rows, slopes, columns, optimize=True)
    weight = (sensor.noise_mm**2 * power + sensor.step**2 / 12.0) / (sensor.noise_mm**2 * alike) ** 2
    meat = np.einsum("kab,lab,ab->kl", inner, inner, weight, optimize=True)
    return float(np.sqrt((bread @ (meat + clicks + prior) @ bread)[0, 0]))


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line a world: bounds, rms over its frames."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.worlds.bound", description=__doc__.partition("\n")[0]
    )
    parser.add_argument("--world", default="wide grin,thin strip,smoothing 3.5")
    parser.add_argument("--frames", type=int, default=6)
    parser.add_argument("--first-seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    for name in asked.world.split(","):
        seeds = range(asked.first_seed, asked.first_seed + asked.frames)
        found = [bounds(WORLDS[name], n) for n in seeds]
        rms = {
            kind: float(np.sqrt(np.mean([getattr(b, f"{kind}_mm") ** 2 for b in found])))
            for kind in ("exact", "read", "slid", "plain")
        }
        told = "  ".join(f"{kind} {value:.4f}" for kind, value in rms.items())
        print(f"{name:20s} n {len(found)}  bound, mm: {told}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
