"""Go through a take: once forwards, and from the clicked frame backwards in stretches that fit in memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from bite.choose.carry import Carried, carry_on, start_carry
from bite.choose.carry_start import Anchor, grey
from bite.choose.content import Chosen, Measures
from bite.choose.jaws import rank_with_jaws
from bite.choose.judge import motions, rank_coarse
from bite.choose.measure import DepthUnit, measure_carried, measure_whole
from bite.choose.stillness import motion_between, small_grey
from bite.errors import DegenerateGeometryError, InputError
from bite.files.corners import Corners
from bite.files.take import Take, TakePicture, Unreadable

STRETCH_BYTES = 64_000_000
"""Pictures held at a time while going backwards."""
ASSUMED = (
    "no depth map: the expected sd is that of a usual bench sensor (0.5 mm a depth pixel, noise 0.4 mm, "
    "blur 2 px)"
)
CLICK_ONCE = (
    "nobody has clicked: this ranking knows stillness, sharpness and light of whole pictures, and nothing of "
    "teeth or bite. Click once (--annotate, or --corners FILE --frame N), and it will"
)


@dataclass(frozen=True, slots=True)
class Click:
    """The frame that somebody clicked, and its corners."""

    number: int
    corners: Corners


@dataclass(slots=True)
class _Pass:
    """What has been found so far on the way through a take."""

    measures: list[Measures]
    notes: list[str]
    marks: list[int]
    last_number: int = -1


def choose(
    take: Take,
    click: Click | None,
    *,
    unit: DepthUnit | None = None,
    told: Callable[[int], None] = lambda done: None,
) -> Chosen:
    """Measure and rank the frames of a take.

    Parameters
    ----------
    take : Take
    click : Click or None, None gives a coarse ranking
    unit : DepthUnit or None, None leaves depth maps alone
    told : function called with the number of frames done since the last call

    Raises
    ------
    InputError
        When no frame can be read, or the clicked one cannot be used.
    """
    found = _Pass([], [], [])
    if click is None:
        _go_coarse(take, found, told)
        ranked = rank_coarse(found.measures)
        found.notes.append(CLICK_ONCE)
    else:
        anchor, start = _go_forwards(take, click, unit, found, told)
        _go_backwards(take, click, anchor, start, unit, found, told)
        found.measures.sort(key=lambda one: one.number)
        ranked = rank_with_jaws(take, motions(found.measures), found.marks)
        if all(one.noise_mm is None for one in found.measures):
            found.notes.append(ASSUMED)
        if click.corners.landmarks:
            found.notes.append("landmarks are not carried: lips and skin move on their own; click them again")
    if not found.measures:
        raise InputError(take.path, "", "no frame of it can be read", "export the take again")
    given = any(one.noise_mm is not None for one in found.measures)
    return Chosen(
        take_name=take.name,
        frames_read=len(found.measures),
        clicked=None if click is None else click.number,
        ranked=ranked,
        notes=tuple(found.notes),
        depth_given=given,
        marks=tuple(found.marks),
    )


def _readable(take: Take, found: _Pass, told: Callable[[int], None]) -> Iterator[TakePicture]:
    """Read forwards; note what cannot be read."""
    for item in take.read():
        told(1)
        if isinstance(item, Unreadable):
            found.notes.append(item.why)
            found.marks.append(0)
            continue
        found.marks.append(item.mark)
        yield item


def _go_coarse(take: Take, found: _Pass, told: Callable[[int], None]) -> None:
    before = None
    for picture in _readable(take, found, told):
        small, scale = small_grey(grey(picture.image))
        one = measure_whole(picture)
        if before is not None and found.last_number == picture.number - 1:
            way = motion_between(before, small)
            way = None if way is None else way * scale
            last = found.measures[-1]
            known = [v for v in (last.motion_px, way) if v is not None]
            found.measures[-1] = replace(last, motion_px=max(known, default=None))
            one = replace(one, motion_px=way)
        found.measures.append(one)
        before, found.last_number = small, picture.number


def _go_forwards(
    take: Take, click: Click, unit: DepthUnit | None, found: _Pass, told: Callable[[int], None]
) -> tuple[Anchor, Carried]:
    start: tuple[Anchor, Carried] | None = None
    carried: Carried | None = None
    for picture in _readable(take, found, told):
        if picture.number < click.number:
            continue
        if picture.number == click.number:
            start = _started(take, picture, click)
            carried = start[1]
        elif start is not None and carried is not None:
            carried = carry_on(start[0], carried, picture.image)
        else:
            break
        if start is not None and carried is not None:
            found.measures.append(_measured(picture, start[0], carried, unit, click, found))
    if start is None:
        why = found.notes[-1] if found.notes else f"the take ends after {len(found.marks)} frames"
        what = f"the clicked frame {click.number} is not there or cannot be read ({why})"
        raise InputError(take.path, "--frame", what, "click another frame; frames are counted from 0")
    return start


def _started(take: Take, picture: TakePicture, click: Click) -> tuple[Anchor, Carried]:
    corners = click.corners
    size = (picture.image.shape[1], picture.image.shape[0])
    if (corners.width_px, corners.height_px) != size:
        clicked = f"clicked in {corners.width_px} x {corners.height_px} pixels"
        what = f"{clicked}, frame {click.number} of {take.path.name} has {size[0]} x {size[1]}"
        raise InputError(corners.path, "image", what, "click a frame of this very take")
    try:
        return start_carry(picture.image, corners)
    except DegenerateGeometryError as error:
        raise InputError(corners.path, "points", str(error), "click 11d and 21d at least") from None


def _go_backwards(
    take: Take,
    click: Click,
    anchor: Anchor,
    carried: Carried,
    unit: DepthUnit | None,
    found: _Pass,
    told: Callable[[int], None],
) -> None:
    stretch = max(4, STRETCH_BYTES // (3 * take.width_px * take.height_px))
    stop = click.number
    while stop > 0:
        first = max(0, stop - stretch)
        pictures = [p for p in take.read(first, stop, found.marks) if isinstance(p, TakePicture)]
        for picture in reversed(pictures):
            carried = carry_on(anchor, carried, picture.image)
            found.measures.append(_measured(picture, anchor, carried, unit, click, found))
        told(stop - first)
        stop = first


def _measured(
    picture: TakePicture, anchor: Anchor, carried: Carried, unit: DepthUnit | None, click: Click, found: _Pass
) -> Measures:
    last = carried.last.place(anchor.upper_px)
    clicked = picture.number == click.number
    try:
        return measure_carried(picture, carried, unit, clicked=clicked, last_px=last)
    except InputError as error:
        found.notes.append(f"{error} (the frame is ranked without its depth map)")
        return measure_carried(picture, carried, None, clicked=clicked, last_px=last)
