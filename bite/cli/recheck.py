"""`bite recheck`: say whether a move of the dial worked, and what is left."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import Exit
from bite.cli.numbers import above_zero
from bite.cli.out_folder import make_folder
from bite.cli.streams import Waiting, print_file, tell
from bite.errors import InputError

if TYPE_CHECKING:
    from bite.check.assessment import Assessment
    from bite.files.rig import Dial
    from bite.recheck.pictures import TwoSolves
    from bite.recheck.steps import Recheck, Side

    _Found = tuple[Recheck, Mapping[str, str], TwoSolves | None]

_FOOT = """\
Both are the same picture and depth with the model solved again after the dial was moved: frame files, or
result files of bite check (which know less: see docs/commands.md). Writes AFTER.recheck.json and
AFTER.recheck.png, and adds the move to PERFORMER.history.json, beside AFTER. exit codes: 0 done, or set the
dial again, 1 something needs a person, 2 bad input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "recheck",
        help="check that a move of the dial worked",
        description="Hold a bite frame solved after a move of the dial against the same one before it.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("before", metavar="BEFORE", help="bite frame file, or NAME.result.json")
    parser.add_argument("after", metavar="AFTER", help="the same picture, solved again after the move")
    parser.add_argument(
        "--rig", metavar="RIG", help="rig file, for result files: they do not hold the dial's travel"
    )
    parser.add_argument("--tolerance-mm", type=above_zero("a length above 0 mm"), default=0.5, metavar="MM",
        help="default 0.5")
    parser.add_argument(
        "--json", action="store_true", help="the JSON file's content to stdout, nothing else there"
    )
    parser.add_argument("--out", metavar="DIR", help="folder for the files (default: beside AFTER)")


def run(args: argparse.Namespace) -> int:
    """Recheck, tell, save, remember."""
    from bite import __version__
    from bite.files.atomic import write_together
    from bite.files.folder_lock import locked
    from bite.files.history import appended, history_text, read_history
    from bite.files.result import result_text
    from bite.plots.saving import figure_bytes
    from bite.recheck.steps import Advice
    from bite.recheck.told import (
        RecheckReport,
        recheck_figure,
        recheck_mapping,
        recheck_text,
        step_of_history,
    )

    before, after = Path(args.before), Path(args.after)
    results = [path.name.endswith(".result.json") for path in (before, after)]
    if any(results) and not all(results):
        odd = after if results[0] else before
        raise InputError(
            odd, "", "is not a result file as the other one is", "name two frame files or two results"
        )
    folder = after.parent if args.out is None else Path(args.out)
    performer = _performer(after, is_result=results[1])
    history = folder / f"{performer}.history.json"
    read_history(history, performer)  # a damaged one is told before anything is computed
    make_folder(folder)  # and so is a folder that cannot be made
    with Waiting("checking both solves"):
        found, hashes, solves = (_from_results if all(results) else _from_frames)(args, before, after)
    name = found.after.frame
    with locked(folder):
        # read again: another run may have added a step meanwhile
        steps = appended(read_history(history, performer), step_of_history(found))
        report = RecheckReport(found, steps, hashes, __version__)
        text = result_text(recheck_mapping(report))
        files = {
            folder / f"{name}.recheck.json": text.encode(),
            folder / f"{name}.recheck.png": figure_bytes(recheck_figure(report, solves)),
            history: history_text(performer, steps).encode(),
        }
        write_together(files)
    if args.json:
        print_file(text)
    else:
        print(recheck_text(report), end="")
    tell(f"history: {history}")
    return int(Exit.FINE if found.advice in (Advice.STOP, Advice.AGAIN) else Exit.PERSON)


def _performer(after: Path, *, is_result: bool) -> str:
    """Give whose history it is, before anything is computed: a damaged history is told at once."""
    from bite.cli.frame_path import require_frame_file
    from bite.files.frame import check_file_name, read_frame_file
    from bite.files.result import read_result

    if is_result:
        performer = _side_of(after, read_result(after)).performer
    else:
        performer = read_frame_file(require_frame_file(after)).performer
    check_file_name(after, "performer", performer)
    return performer


def _from_frames(args: argparse.Namespace, before: Path, after: Path) -> _Found:
    from bite.check.steps import check_frame
    from bite.cli.frame_path import require_frame_file
    from bite.evidence.priors import prior_of
    from bite.files.bundle import load_frame
    from bite.recheck.mesh_move import move_in_mesh_mm
    from bite.recheck.pictures import two_solves
    from bite.recheck.profile_looks import refuse_other_profile
    from bite.recheck.steps import achieved_by_fits, recheck, refuse_other_pictures, refuse_other_rig

    frames = [load_frame(require_frame_file(path)) for path in (before, after)]
    refuse_other_pictures(before.name, str(after), frames[0].hashes, frames[1].hashes)
    refuse_other_profile(str(after), before.name, frames[0].profile, frames[1].profile)
    refuse_other_rig(str(after), frames[0].rig, frames[1].rig, frames[0].rest_mesh, frames[1].rest_mesh)
    first, second = (check_frame(frame, tolerance_mm=args.tolerance_mm) for frame in frames)
    sides = [_side(path, look) for path, look in ((before, first), (after, second))]
    assert first.fit is not None and second.fit is not None
    prior, _ = prior_of(
        frames[1].device,
        posed_by_landmarks=second.solved is not None and second.solved.posed_by_landmarks,
        matched=second.frame.stereo,
    )
    in_mesh = None
    if first.solved is not None and second.solved is not None:
        in_mesh = move_in_mesh_mm(first.solved.head, second.solved.head)
    rig = frames[1].rig
    found = recheck(
        sides[0],
        sides[1],
        achieved_by_fits(first.fit, second.fit, prior),
        dial=rig.dial if rig else None,
        in_mesh_mm=in_mesh,
        tolerance_mm=args.tolerance_mm,
    )
    return found, {**frames[0].hashes, **frames[1].hashes}, two_solves(first, second)


def _side(path: Path, look: Assessment) -> Side:
    from bite.recheck.steps import Side, doubt_of

    solved = look.frame.file.solved
    if look.fit is None:
        raise InputError(path, "", f"no offset: {look.why_no_offset}", "give what the line asks for")
    if solved is None or solved.dial is None:
        raise InputError(
            path, "[solved] dial", "missing", "write the dial value that the model was solved with"
        )
    decision = look.decision
    return Side(
        look.frame.name,
        look.frame.file.performer,
        solved.dial,
        look.fit.offset,
        look.fit.sampling_sd_mm,
        doubt_of(decision.verdict, decision.why),
    )


def _from_results(args: argparse.Namespace, before: Path, after: Path) -> _Found:
    from bite.files.result import read_result
    from bite.files.source import hashes_of_what_is_read
    from bite.recheck.steps import achieved_by_results, recheck, refuse_other_pictures

    with hashes_of_what_is_read() as read:
        tables = [read_result(path) for path in (before, after)]
    sides = [_side_of(path, table) for path, table in zip((before, after), tables, strict=True)]
    inputs = [_strings(path, table) for path, table in zip((before, after), tables, strict=True)]
    refuse_other_pictures(before.name, str(after), inputs[0], inputs[1])
    dial: Dial | None = None
    if args.rig is not None:
        from bite.files.rig import read_rig

        dial = read_rig(Path(args.rig)).dial
    achieved = achieved_by_results(sides[0], sides[1])
    found = recheck(sides[0], sides[1], achieved, dial=dial, tolerance_mm=args.tolerance_mm)
    return found, {path.name: read.of(path) for path in (before, after)}, None


def _side_of(path: Path, table: Mapping[str, object]) -> Side:
    from bite.recheck.steps import Side, doubt_of
    from bite.stats.estimate import Estimate

    mend = "let bite check write the result again"
    try:
        offset, decision = table["offset"], table["decision"]
        if not isinstance(offset, dict):
            raise InputError(path, "offset", "no offset could be given there", "recheck a frame that has one")
        if not isinstance(decision, dict):
            raise KeyError("decision")
        numbers = [offset["t_mm"], offset["sd_mm"], offset["sampling_sd_mm"], decision["dial_before"]]
        frame, performer = table["frame"], table["performer"]
        verdict, why = decision["verdict"], decision["why"]
    except KeyError as error:
        raise InputError(path, str(error.args[0]), "missing", mend) from None
    good = all(isinstance(n, (int, float)) and not isinstance(n, bool) for n in numbers)
    if not good or not isinstance(frame, str) or not isinstance(performer, str) or not frame:
        what = "offset, dial_before, frame or performer is not what a result holds"
        raise InputError(path, "", what, mend)
    t, sd, sampling, dial = (float(n) for n in numbers)
    return Side(frame, performer, dial, Estimate(t, sd), sampling, doubt_of(str(verdict), str(why)))


def _strings(path: Path, table: Mapping[str, object]) -> dict[str, str]:
    inputs = table.get("inputs")
    if not isinstance(inputs, dict) or not all(isinstance(value, str) for value in inputs.values()):
        raise InputError(path, "inputs", "no hashes of the inputs", "let bite check write the result again")
    return {str(key): str(value) for key, value in inputs.items()}
