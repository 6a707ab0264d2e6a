"""Open a bite frame for annotation: its files, its corner stores, what was clicked before."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.annotate.state.answer import Answer, check_clicks
from bite.annotate.state.clicks import Clicks, clicks_of_file
from bite.annotate.state.frames import FrameStand, clicked_told, is_done
from bite.annotate.state.live import LiveCheck
from bite.annotate.store.corner_files import CornerStore
from bite.annotate.store.saving import Notes
from bite.annotate.workbench import Workbench
from bite.errors import BiteError, InputError
from bite.files.bundle import BiteFrame, LoadedView, load_frame
from bite.files.corners import read_corners
from bite.files.device import Device
from bite.files.frame import FrameFile, ViewEntry, read_frame_file
from bite.files.frame_corners import name_corner_file
from bite.files.source import key_beside, read_bytes, read_text, sha256_of
from bite.geometry.camera import Camera
from bite.geometry.rigid import frozen

if TYPE_CHECKING:
    from bite.check.assessment import Assessment

    Check = Callable[[BiteFrame], Assessment]


def open_bench(
    path: Path,
    *,
    annotator: str,
    now: Callable[[], datetime],
    live: bool = True,
    devices: Mapping[str, Device] | None = None,
    check: Check | None = None,
    command: str = "",
) -> Workbench:
    """Open a frame file for annotation.

    A view that names no corner file gets IMAGE.corners.json beside its picture, which the frame file then
    names as soon as it has been saved. Where only the solved model or the depth cannot be read, the pictures
    are opened without them, and why no check runs is told.

    Parameters
    ----------
    devices : mapping from name to Device, a cast's own
    check : function from frame to assessment; by default the check as `bite check` runs it
    command : str, what to type once all is clicked

    Raises
    ------
    InputError
        When the frame cannot be read, or a corner file belongs to another picture.
    """
    frame, trouble = _loaded(path, devices)
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
    if trouble is not None and not live:
        notes.add(f"opened without what cannot be read: {trouble}")
    checker = _live_check(frame, check) if live and trouble is None else None
    answer = None if trouble is None or not live else _no_check(trouble)
    return Workbench(frame, stores, tuple(start), checker, notes, answer=answer, command=command)


def stand_on_disk(path: Path) -> FrameStand:
    """Say how a frame stands before it is opened: what its corner files hold, and the verdict on these.

    A verdict is taken from NAME.result.json beside the frame, and only where it was reached with the corner
    files as they are now. What cannot be read is told in place of it.
    """
    try:
        file = read_frame_file(path)
        clicks = []
        for entry in file.views:
            there = entry.corners is not None and entry.corners.exists()
            clicks.append(clicks_of_file(read_corners(entry.corners) if there and entry.corners else None))
    except BiteError as error:
        return FrameStand(path.name, "cannot be read", str(error), False)
    done = tuple(clicks)
    verdict = _verdict_on_disk(file)
    if verdict and not is_done(done):
        verdict += " so far"
    return FrameStand(file.name, clicked_told(done), verdict, is_done(done))


def _verdict_on_disk(file: FrameFile) -> str:
    try:
        result = json.loads(read_text(file.path.parent / f"{file.name}.result.json"))
        inputs, verdict = result["inputs"], str(result["decision"]["verdict"])
        for entry in file.views:
            if entry.corners is None:
                return ""
            if inputs[key_beside(file.path, entry.corners)] != sha256_of(read_bytes(entry.corners)):
                return ""
    except (InputError, OSError, ValueError, KeyError, TypeError):
        return ""
    return verdict


def _loaded(path: Path, devices: Mapping[str, Device] | None) -> tuple[BiteFrame, BiteError | None]:
    """Read a frame; without its model, or without depth too, where only these cannot be read."""
    try:
        return load_frame(path, devices=devices, with_corners=False), None
    except InputError as error:
        trouble = error
    for leave_out in (("solved",), ("depth",), ("solved", "depth")):
        try:
            return load_frame(path, devices=devices, with_corners=False, without=leave_out), trouble
        except InputError:
            continue
    raise trouble


def _no_check(trouble: BiteError) -> Answer:
    return Answer(
        verdict="no check",
        headline="clicks are taken and saved all the same; mend this before bite check",
        troubles=(str(trouble),),
    )


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


def _live_check(frame: BiteFrame, check: Check | None) -> LiveCheck:
    def answer(clicks: Clicks) -> Answer:
        from bite.check.steps import check_frame

        return check_clicks(frame, clicks, check or check_frame)

    return LiveCheck(answer)
