"""Whether bite frames may be taken together: one performer, one rig, dials that convert, no picture twice."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bite.check.decision import stands_at
from bite.errors import InputError
from bite.files.bundle import BiteFrame
from bite.files.frame import MapEntry
from bite.files.rig import Dial
from bite.files.source import key_beside

_SPLIT = "take the frames of one performer and one rig together, the others apart"


def refuse_strangers(frames: Sequence[BiteFrame]) -> None:
    """Refuse frames that do not tell of one and the same offset.

    Raises
    ------
    InputError
        With fewer than two frames, or naming the first frame that differs from the first one, and in what.
    """
    first = frames[0] if frames else None
    if first is None or len(frames) < 2:
        where = first.file.path if first is not None else "--together"
        raise InputError(where, "", "is one frame alone", "name two frames or more, or leave --together out")
    for number, frame in enumerate(frames):
        if frame.file.solved is None:
            what = "missing, so that the frame has no offset to add"
            mend = "give the solved model, or leave the frame out"
            raise InputError(frame.file.path, "[solved]", what, mend)
        for earlier in frames[:number]:
            if frame.name == earlier.name:
                what = f"{frame.name!r} is also the name of {earlier.file.path}"
                raise InputError(frame.file.path, "name", what, "give each frame a name of its own")
            _refuse_same_evidence(earlier, frame)
    for frame in frames[1:]:
        if frame.file.performer != first.file.performer:
            what = f"got {frame.file.performer!r}, but {first.name} is of {first.file.performer!r}"
            raise InputError(frame.file.path, "performer", what, _SPLIT)
        _refuse_other_rig(first, frame)
        _refuse_other_device_table(frames, frame)


def stands_mm(frame: BiteFrame, zero: BiteFrame) -> float:
    """Give how far forward of where ``zero`` was solved the dial put this frame's teeth, mm.

    Raises
    ------
    InputError
        When the two were solved at different values of a dial that nobody has measured.
    """
    own, other = (f.file.solved.dial if f.file.solved else None for f in (frame, zero))
    if own == other or frame.rig is None or own is None or other is None:
        return 0.0
    here, there = stands_at(frame.rig.dial, own), stands_at(frame.rig.dial, other)
    if here is None or there is None:
        what = f"solved at {own:g}, {zero.name} at {other:g}, and the rig does not say how many mm that is"
        mend = "measure the dial with bite dial, or solve all frames at one dial value"
        raise InputError(frame.file.path, "[solved] dial", what, mend)
    return here - there


def _refuse_same_evidence(one: BiteFrame, two: BiteFrame) -> None:
    """Refuse a picture or depth map that would count twice."""
    first = _evidence(one)
    for value, path in _evidence(two).items():
        if value in first:
            what = f"{path.name} is also in {one.name}: it would count twice"
            raise InputError(two.file.path, "", what, "name only one of the two frames")


def _evidence(frame: BiteFrame) -> dict[str, Path]:
    """Give the content hash of each picture and depth file of a frame."""
    paths = [view.image for view in frame.file.views]
    if isinstance(frame.file.depth, MapEntry):
        paths += [frame.file.depth.map, *frame.file.depth.more_maps]
    keys = {key_beside(frame.file.path, path): path for path in paths}
    return {frame.hashes[key]: path for key, path in keys.items() if key in frame.hashes}


def _refuse_other_rig(first: BiteFrame, frame: BiteFrame) -> None:
    one, two = first.rig, frame.rig
    if one is None and two is None:
        return
    if one is None or two is None:
        lacks = frame.name if two is None else first.name
        raise InputError(frame.file.path, "[solved] rig", f"{lacks} names no rig, the other does", _SPLIT)
    rests = first.rest_mesh, frame.rest_mesh
    same = {
        "the rest export": (rests[0] is None) == (rests[1] is None)
        and (rests[0] is None or rests[1] is None or _alike(rests[0].vertices_mm, rests[1].vertices_mm)),
        "forward": bool(np.allclose(one.forward, two.forward, atol=1e-6)),
        "up": bool(np.allclose(one.up, two.up, atol=1e-6)),
        "[parts]": one.parts == two.parts,
        "[corners]": one.corners == two.corners,
        "[landmarks]": one.landmarks == two.landmarks,
        "teeth": (one.teeth == "scanned") == (two.teeth == "scanned"),
        "[dial]": _dial_key(one.dial) == _dial_key(two.dial),
    }
    for what, equal in same.items():
        if not equal:
            told = f"{what} of {two.path.name} is not that of the rig of {first.name}"
            raise InputError(frame.file.path, "[solved] rig", told, _SPLIT)


def _alike(one: np.ndarray, two: np.ndarray) -> bool:
    return one.shape == two.shape and bool(np.allclose(one, two, atol=1e-3))


def _dial_key(dial: Dial) -> tuple[object, ...]:
    travel = None if dial.travel is None else tuple(map(tuple, np.asarray(dial.travel).tolist()))
    return dial.positive_is_back, dial.mm_per_unit, travel, dial.limit, dial.step


def _refuse_other_device_table(frames: Sequence[BiteFrame], frame: BiteFrame) -> None:
    """Refuse one device name with two beliefs about its enamel: the frames share that one bias."""
    for other in frames:
        if other.file.device != frame.file.device:
            continue
        theirs, own = ((f.device.enamel_bias_mm, f.device.enamel_bias_sd_mm) for f in (other, frame))
        if theirs != own:
            what = f"has other enamel values for {frame.file.device} than {other.name}"
            raise InputError(frame.file.path, "device", what, "give all frames of a device one device table")
