"""What is written of a ranked take: its numbers, stills, frame files and carried corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from bite import __version__
from bite.choose.content import Chosen, Measures, Ranked, Standing
from bite.choose.judge import still_stretch
from bite.evidence.picture.luminance import Picture
from bite.files.atomic import write_bytes
from bite.files.beside import look_beside
from bite.files.corners import CornerPoint, Corners, CornerState, write_corners
from bite.files.frame import MOST_MAPS
from bite.files.frame_draft import frame_path_for, frame_text, write_new
from bite.files.result import result_text
from bite.files.source import stands
from bite.files.take import Take, TakePicture, depth_beside

FORMAT = "bite-choose 1"
SURE_LIKENESS = 0.8
"""Corners carried to teeth less alike than this are written as unsure, and so are unmatched ones."""


def chosen_text(chosen: Chosen) -> str:
    """Give the text of ``NAME.choose.json``: the same take and clicks give the same bytes."""
    return result_text(
        {
            "format": FORMAT,
            "take": chosen.take_name,
            "frames_read": chosen.frames_read,
            "clicked_frame": chosen.clicked,
            "depth_maps_used": chosen.depth_given,
            "fit": len(chosen.fit),
            "notes": list(chosen.notes),
            "frames": [_frame(one) for one in chosen.ranked],
            "version": __version__,
        }
    )


def _frame(one: Ranked) -> dict[str, object]:
    m = one.measures
    return {
        "rank": one.rank,
        "frame": m.number,
        "name": m.name,
        "standing": str(one.standing),
        "why": one.why,
        "cost_mm": one.cost_mm,
        "expected_sd_mm": m.sd_mm,
        "enamel_mm2": m.enamel_mm2,
        "upper_shown_mm": m.upper_mm,
        "lower_shown_mm": m.lower_mm,
        "mm_per_px": m.mm_per_px,
        "crown_px": m.crown_px,
        "edge_px": m.edge_px,
        "clipped_share": m.clipped,
        "motion_px": m.motion_px,
        "jaw_drop_mm": m.jaw_drop_mm,
        "depth_share": m.depth_share,
        "depth_noise_mm": m.noise_mm,
        "likeness": m.likeness,
        "points": {
            code: {"x": p.x_px, "y": p.y_px, "state": str(p.state), "sigma_px": p.sigma_px}
            for code, p in (m.points or {}).items()
        },
        "lost": {code: str(why) for code, why in (m.lost or {}).items()},
        "findings": [
            {"code": f.code, "severity": str(f.severity), "measured": f.measured, "sd": f.sd, "unit": f.unit,
             "text": f.text, "todo": f.todo}
            for f in m.findings
        ],
    }  # fmt: skip


def write_frames(
    take: Take,
    chosen: Chosen,
    best: Sequence[Ranked],
    pictures: dict[int, TakePicture],
    folder: Path,
    unit_mm: float | None = None,
) -> tuple[list[Path], list[str]]:
    """Write a frame file and carried corners for each of the best frames; stills of a video as PNG.

    What is there already is left as it is. Frames that are unfit get none.

    Parameters
    ----------
    take : Take
    chosen : Chosen
    best : sequence of Ranked
    pictures : mapping from frame number to TakePicture
    folder : Path, for stills of a video; frame files of pictures go beside them
    unit_mm : float, optional
        mm per stored unit of the depth maps, as it was given for the take.

    Returns
    -------
    paths, notes : frame files written, and lines about what was not
    """
    written: list[Path] = []
    notes: list[str] = []
    for one in best:
        picture = pictures.get(one.measures.number)
        if one.standing is Standing.UNFIT:
            notes.append(f"{one.measures.name}: no frame file, since it cannot be a bite frame: {one.why}")
            continue
        if picture is None:
            continue
        image = picture.path or folder / f"{take.frame_name(picture.number)}.png"
        if picture.path is None and not stands(image):
            write_bytes(image, png_bytes(picture.image))
        corners = image.with_name(f"{image.stem}.corners.json")
        if stands(corners):
            notes.append(f"{corners} is there already, and is left as it is")
        elif one.measures.points:
            write_corners(corners, _carried(one.measures, corners, image.name, picture.image, chosen))
        path = frame_path_for(image, image.stem)
        if stands(path):
            notes.append(f"{path} is there already, and is left as it is")
            continue
        known = {} if unit_mm is None else {"[depth] unit_mm": repr(unit_mm)}
        beside = look_beside(image)
        held = _held_with(take, chosen, one.measures.number) if beside.depth is not None else ()
        if held:
            notes.append(f"{path.name} averages {len(held) + 1} depth maps of the bite held about it")
        write_new(path, frame_text(image, image.stem, replace(beside, held=held), known))
        written.append(path)
    return written, notes


def _held_with(take: Take, chosen: Chosen, number: int) -> tuple[Path, ...]:
    """Give the depth maps of the frames that hold still about one, the nearest first."""
    measures = sorted((one.measures for one in chosen.ranked), key=lambda m: m.number)
    about = sorted(still_stretch(measures, number), key=lambda k: (abs(k - number), k))
    paths = {m.number: m.path for m in measures}
    found = []
    for k in about[: MOST_MAPS]:
        path = paths.get(k)
        depth = None if path is None or k == number else depth_beside(path)
        found += [] if depth is None else [depth]
    return tuple(found)


def png_bytes(image: Picture) -> bytes:
    """Give a picture, RGB, as the bytes of a PNG file."""
    import cv2

    done, data = cv2.imencode(".png", image[:, :, ::-1])
    assert done
    return bytes(data.tobytes())


def _carried(one: Measures, path: Path, file: str, image: Picture, chosen: Chosen) -> Corners:
    assert one.points is not None
    sure = one.clicked or (one.matched and (one.likeness or 0.0) >= SURE_LIKENESS)
    points = {
        code: CornerPoint(_state(point.state, sure=sure), point.x_px, point.y_px, point.sigma_px)
        for code, point in one.points.items()
    }
    whose = f"carried by bite choose from frame {chosen.clicked}; nobody has looked at them here yet"
    return Corners(path, file, image.shape[1], image.shape[0], points, annotator=whose)


def _state(state: CornerState, *, sure: bool) -> CornerState:
    return CornerState.UNSURE if state is CornerState.SEEN and not sure else state
