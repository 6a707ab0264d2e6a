"""`bite check --together`: one offset from several frames of one performer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit, exit_for
from bite.cli.streams import print_file
from bite.errors import InputError

if TYPE_CHECKING:
    from bite.files.device import Device


def run_together(
    paths: Sequence[Path],
    *,
    devices: Mapping[str, Device] | None,
    tolerance_mm: float,
    performance_device: str | None,
    out: Path | None,
    plots: Path | None,
    as_json: bool,
    quiet: bool,
) -> Exit:
    """Check the frames together, tell, and save PERFORMER.together.json and .png: all files or none.

    Raises
    ------
    InputError
        When any frame cannot be read, or they may not be taken together: nothing is written then.
    """
    from bite.check.single_panels import blinking, panel_figures
    from bite.check.solved_looks import solved_looks
    from bite.cli.frame_path import require_frame_file
    from bite.files.atomic import write_together
    from bite.files.bundle import load_frame
    from bite.files.result import result_text
    from bite.plots.saving import figure_bytes
    from bite.together.figure import together_figure
    from bite.together.steps import check_together
    from bite.together.text import together_line, together_mapping, together_text

    if len(paths) < 2:
        what = "is one frame alone"
        raise InputError(paths[0], "", what, "name two frames or more, or leave --together out")
    frames = [load_frame(require_frame_file(path), devices=devices) for path in paths]
    found = check_together(frames, tolerance_mm=tolerance_mm, performance_device=performance_device)
    text = result_text(together_mapping(found))
    folder = out or paths[0].parent
    name = f"{found.performer}.together"
    files = {folder / f"{name}.png": figure_bytes(together_figure(found))}
    if plots is not None:
        for part in found.parts:
            looks, name_of = solved_looks(part.assessment), part.assessment.frame.name
            for panel, figure in panel_figures(part.assessment, looks).items():
                files[plots / f"{name_of}.{panel}.png"] = figure_bytes(figure)
            for panel, animated in blinking(part.assessment, looks).items():
                files[plots / f"{name_of}.{panel}.png"] = animated
    files[folder / f"{name}.json"] = text.encode()
    write_together(files)
    if as_json:
        print_file(text)
    elif quiet:
        print(together_line(found), flush=True)
    else:
        print(together_text(found), end="", flush=True)
    return exit_for([found.decision.verdict])
