"""What wrong files are taken from: other performers, other moments and other cameras of the same head."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.worlds import head as heads
from tests.worlds.every import WORLDS
from tests.worlds.scene import Scene, draw_scene, draw_solved, scene_rng
from tests.worlds.skin_error import rotation
from tests.worlds.wheel import wheel
from tests.worlds.write import FRAME, TRUTH, write_frame, write_scene

PLAIN, STEREO = WORLDS["wide grin"], WORLDS["second view"]
OTHER_PERFORMER = 1000
"""How far the seeds of another performer stand from those of the frame."""
TURN_DEG, MOVED_MM = 12.0, (4.0, -3.0, 6.0)
JAW_DROP_MM = 5.0


@dataclass(frozen=True, slots=True)
class Takes:
    """Folders of frames of one seed; each is made when it is first asked for, and then kept.

    ``plain``: everything right. ``other``: another performer. ``turned``, ``moved``, ``half_open``,
    ``jaw_dropped``: the same performer and cameras at another moment. ``stereo``: a second view.
    """

    number: int
    base: Path

    @property
    def plain(self) -> Path:
        """The frame with all its files right."""
        return self._made("plain", lambda folder: write_frame(PLAIN, self.number, folder, wheel()))

    @property
    def stereo(self) -> Path:
        """A frame with a second calibrated view, all its files right."""
        return self._made("stereo", lambda folder: write_frame(STEREO, self.number, folder, wheel()))

    @property
    def other(self) -> Path:
        """Another performer before the same kind of cameras."""
        number = self.number + OTHER_PERFORMER
        return self._made("other", lambda folder: write_frame(PLAIN, number, folder, wheel()))

    @property
    def other_stereo(self) -> Path:
        """Another performer before two views."""
        number = self.number + OTHER_PERFORMER
        return self._made("other-stereo", lambda folder: write_frame(STEREO, number, folder, wheel()))

    @property
    def turned(self) -> Path:
        """The head turned by 12 degrees."""

        def turned(scene: Scene) -> Scene:
            pose = scene.camera_from_mouth.copy()
            pose[:3, :3] = rotation(np.radians(TURN_DEG) * np.eye(3)[1]) @ pose[:3, :3]
            return replace(scene, camera_from_mouth=pose)

        return self._made("turned", self._at(turned))

    @property
    def moved(self) -> Path:
        """The head some millimetres elsewhere."""

        def moved(scene: Scene) -> Scene:
            pose = scene.camera_from_mouth.copy()
            pose[:3, 3] += MOVED_MM
            return replace(scene, camera_from_mouth=pose)

        return self._made("moved", self._at(moved))

    @property
    def half_open(self) -> Path:
        """The lips nearer to each other."""

        def half_open(scene: Scene) -> Scene:
            rng, mouth = scene_rng(PLAIN, self.number, "scene"), PLAIN.mouth
            for span in (mouth.upper_mm, mouth.lower_mm, mouth.overjet_mm, mouth.overbite_mm):
                rng.uniform(*span)  # as draw_scene draws before it comes to the shape
            shape = heads.draw_shape(heads.load(wheel()), rng, PLAIN.head.spread, 4.5, 2.0)
            return replace(scene, skin_mm=shape.parted_mm, rest_skin_mm=shape.rest_mm)

        return self._made("half-open", self._at(half_open))

    @property
    def jaw_dropped(self) -> Path:
        """The teeth 5 mm apart, the lips as they were."""

        def dropped(scene: Scene) -> Scene:
            points = scene.teeth.vertices_mm.copy()
            points[np.unique(scene.teeth.faces["lower"])] += (0.0, -JAW_DROP_MM, 0.0)
            return replace(scene, teeth=replace(scene.teeth, vertices_mm=points))

        return self._made("jaw-dropped", self._at(dropped))

    def scene(self) -> Scene:
        """The true scene of the plain frame."""
        return draw_scene(PLAIN, self.number, wheel())

    def _at(self, moment: Callable[[Scene], Scene]) -> Callable[[Path], Path]:
        def write(folder: Path) -> Path:
            scene = moment(self.scene())
            return write_scene(PLAIN, self.number, scene, draw_solved(PLAIN, self.number, scene), folder)

        return write

    def _made(self, name: str, write: Callable[[Path], Path]) -> Path:
        folder = self.base / str(self.number) / name
        if not (folder / TRUTH).exists():
            write(folder)
        assert (folder / FRAME).exists()
        return folder
