"""What is to be seen now: the scene with its panel, and where the loupe looks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bite.annotate.drawing.panel import PanelFacts
from bite.annotate.drawing.scene import Pointer, Scene
from bite.annotate.state.order import short_name

if TYPE_CHECKING:
    from bite.annotate.workbench.bench import Workbench


def scene_of(bench: Workbench) -> Scene:
    """Give what is to be seen now."""
    desk, index, views = bench.desk, bench.desk.view, bench.frame.views
    before, after = bench.aids.shown_ghosts(index, bench.answer)
    return Scene(
        picture=bench.aids.picture(index),
        view=bench.transform,
        lift=bench.aids.lift,
        layer=bench.aids.layer(index),
        clicks=desk.here,
        ringed=desk.ringed,
        before=before,
        after=after,
        sights=bench.aids.sights(index, desk.clicks),
        other=views[(index + 1) % len(views)].name if len(views) > 1 else "",
        beside=bench.aids.beside(index, desk.clicks),
        panel=_facts(bench),
        sheet=bench.sheet,
        aim=bench.pointer if bench.aiming else None,
        overlay=bench.overlays.shown(
            desk.picture.name,
            bench.aids.picture(index),
            None if bench.pointer is None else bench.pointer[0] - bench.screen.picture.left,
        ),
    )


def loupe_pointer(bench: Workbench) -> Pointer | None:
    """Give where the loupe looks: at the mark that is pulled, else at the pointer."""
    if bench.pointer is None or bench.panning is not None or bench.overlays.wiping:
        return None
    pulled = bench.desk.pulling
    place = bench.desk.here.places.get(pulled) if pulled is not None else None
    near = bench.mark_at(bench.pointer) if pulled is None else None
    label = pulled or (f"hold {near}" if near else bench.desk.asked) or ""
    here = place or bench.transform.to_picture(bench.pointer)
    layer, told = bench.aids.layer(bench.desk.view), ""
    if layer is not None:
        depth = layer.depth_at(here)
        told = "no reading" if depth is None else f"{depth:.2f} mm"
    return Pointer(bench.pointer, here, short_name(label), told)


def _facts(bench: Workbench) -> PanelFacts:
    desk, several = bench.desk, len(bench.desk.pictures) > 1
    return PanelFacts(
        progress=bench.frames.progress if bench.frames is not None and bench.frames.several else "",
        then=_then(bench),
        frame=bench.frame.name,
        view=desk.picture.name,
        several_views=several,
        clicks=desk.here,
        asked=desk.asked,
        ringed=desk.ringed,
        said=desk.said,
        mistakes=bench.watch.mistakes(desk.here, desk.picture, bench.answer),
        answer=bench.answer,
        busy=bench.busy,
        save=bench.save_status,
        notes=bench.notes.lines,
    )


def _then(bench: Workbench) -> str:
    if bench.frames is not None and bench.frames.next_undone is not None:
        return f"PgDn goes to the next frame ({bench.frames.progress})"
    return f"Then, in the terminal: {bench.command}" if bench.command else ""
