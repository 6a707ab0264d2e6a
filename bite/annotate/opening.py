"""Open a bite frame for annotation: its files, its corner stores, what was clicked before."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.annotate.state.answer import Answer, check_clicks
from bite.annotate.state.clicks import Clicks
from bite.annotate.state.live import LiveCheck
from bite.annotate.store.corner_files import CornerStore
from bite.annotate.store.saving import Notes
from bite.annotate.workbench import Workbench
from bite.errors import InputError
from bite.files.bundle import BiteFrame, LoadedView, load_frame
from bite.files.device import Device
from bite.files.frame import FrameFile, ViewEntry
from bite.files.frame_corners import name_corner_file
from bite.files.source import key_beside
from bite.geometry.camera import Camera
from bite.geometry.rigid import frozen


def open_bench(path: Path, *, annotator: str, now: Callable[[], datetime], live: bool = True) -> Workbench:
    """Open a frame file for annotation.

    A view that names no corner file gets IMAGE.corners.json beside its picture, which the frame file then
    names as soon as it has been saved.

    Raises
    ------
    InputError
        When the frame cannot be read, or a corner file belongs to another picture.
    """
    frame = load_frame(path, with_corners=False)
    stores, start, notes = [], [], Notes()
    for index, (entry, view) in enumerate(zip(frame.file.views, frame.views, strict=True)):
        corner_file = entry.corners or entry.image.with_name(f"{entry.image.stem}.corners.json")
        height, width = view.image.shape[:2]
        naming = None
        if entry.corners is None:
            naming = partial(_name, notes, path, index, entry.name, key_beside(path, corner_file))
        store = CornerStore(
            corner_file,
            image_file=entry.image.name,
            width_px=width,
            height_px=height,
            annotator=annotator,
            now=now,
            first_saved=naming,
        )
        start.append(store.load())
        stores.append(store)
        for aside in store.set_aside:
            notes.add(f"{corner_file.name} was damaged; it is kept as {aside.name}")
        if naming is not None and start[-1].done:
            naming()
    checker = _live_check(frame) if live else None
    return Workbench(frame, stores, tuple(start), checker, notes)


def open_picture(
    path: Path, image: NDArray[np.uint8], *, annotator: str, now: Callable[[], datetime]
) -> Workbench:
    """Open one picture for annotation that no frame file names yet; no check runs beside it.

    Corners go to IMAGE.corners.json beside it. The window needs a camera to hold a view; nothing is measured
    with it.

    Raises
    ------
    InputError
        When the corner file belongs to another picture, or cannot be opened.
    """
    height, width = image.shape[:2]
    corner_file = path.with_name(f"{path.stem}.corners.json")
    matrix = [[float(width), 0.0, width / 2], [0.0, float(width), height / 2], [0.0, 0.0, 1.0]]
    camera = Camera(width, height, frozen(matrix), frozen(np.zeros(4)))
    entry = ViewEntry("front", path, path, corner_file)
    nobody = FrameFile(path, path.stem, "", "", None, (entry,), None, None)
    view = LoadedView("front", path, image, camera, None)
    frame = BiteFrame(
        nobody, (view,), None, None, None, None, None, None, None, Device("", "nothing stated"), {}
    )
    store = CornerStore(
        corner_file, image_file=path.name, width_px=width, height_px=height, annotator=annotator, now=now
    )
    start, notes = store.load(), Notes()
    for aside in store.set_aside:
        notes.add(f"{corner_file.name} was damaged; it is kept as {aside.name}")
    return Workbench(frame, [store], (start,), None, notes)


def _name(notes: Notes, path: Path, index: int, view: str, corner_file: str) -> None:
    """Let the frame file name the new corner file; say so, or say what to write."""
    try:
        done = name_corner_file(path, index, corner_file)
    except InputError:
        done = False
    if done:
        notes.add(f"{path.name} now names {corner_file}")
    else:
        notes.add(
            f'add  corners = "{corner_file}"  to view "{view}" of {path.name}, else nobody reads these clicks'
        )


def _live_check(frame: BiteFrame) -> LiveCheck:
    def answer(clicks: Clicks) -> Answer:
        from bite.check.steps import check_frame

        return check_clicks(frame, clicks, check_frame)

    return LiveCheck(answer)
