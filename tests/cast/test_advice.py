"""One piece of advice a performer: none that contradicts another, none while a cause is open, none empty."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from bite.cast.advice import advised_dials
from bite.cast.compared.together import pooled_reading
from bite.cast.content import CastContent, FrameRow
from bite.cast.order import performer_answers
from bite.cast.page_picture import PagePicture
from bite.cast.row import row_of
from bite.cast.run import cast_content
from bite.cast.runner.settings import CastSettings
from bite.cast.sheets.told import frame_dial_told, held, list_dial, news_of, todo_told, typed
from bite.cast.sheets.written import cast_csv
from bite.check.decision import Verdict
from bite.check.finding import Severity
from bite.files.cast import CastFile


def row(name, t_mm, *, performer="p", verdict=Verdict.MOVE, sd_mm=0.1, advised=True, **other) -> FrameRow:
    made = FrameRow(
        path=f"{name}.bite.toml", name=name, performer=performer, device="cam", verdict=verdict,
        why="offset +1.00 +- 0.40 mm is not known to within 0.5 mm: more enamel", todo="", converged=True,
        failed_codes=(), warned_codes=(), t_mm=t_mm, sd_mm=sd_mm, sampling_sd_mm=sd_mm, systematic_sd_mm=0.05,
        low_mm=t_mm - 1.96 * sd_mm, high_mm=t_mm + 1.96 * sd_mm, right_mm=None, right_sd_mm=None, up_mm=None,
        up_sd_mm=None, per_enamel_mm=1.0, assumed_enamel_mm=0.15, dial=round(-t_mm / 3.2, 2), dial_before=0.0,
        dial_before_mm=0.0, dial_step=0.01, dial_advised=advised, left_over_mm=0.0, annotators=(),
        result=Path("r"), result_sha256="", picture=Path("p"), picture_sha256="", picture_width_px=1,
        picture_height_px=1,
    )  # fmt: skip
    return replace(made, **other)


def content_of(tmp_path, *rows) -> CastContent:
    from bite.cast.run import Rows

    settings = CastSettings(0.5, None, {}, tmp_path, None, tmp_path)
    cast = CastFile(tmp_path / "cast.toml", "cast", None, 0.5, (), {})
    return cast_content(cast, Rows(tuple(rows), ()), settings)


def table(content) -> dict[str, dict[str, str]]:
    return {line["frame"]: line for line in csv.DictReader(cast_csv(content).splitlines())}


def test_a_value_that_is_not_advised_leaves_the_dial_column(tmp_path):
    unsure = row("b", 1.25, performer="q", verdict=Verdict.UNSURE, advised=False)
    rows = table(content_of(tmp_path, row("a", 1.0), unsure))
    columns = ("dial", "dial_not_advised", "dial_advised")
    assert [rows["a"][column] for column in columns] == ["-0.31", "", "yes"]
    assert [rows["b"][column] for column in columns] == ["", "-0.39", "no"]


def test_frames_that_agree_keep_their_values_and_one_speaks(tmp_path):
    content = content_of(tmp_path, row("a", 1.0), row("b", 1.1, sd_mm=0.08))
    (answer,) = content.answers
    assert answer.frame.name == "b" and typed(answer) == "-0.34"
    assert table(content)["a"]["dial"] == "-0.31"
    first, second = (list_dial(r, answer) for r in content.rows)
    assert {first, second} == {"-0.34", "see b"}
    other = next(r for r in content.rows if r.name == "a")
    assert frame_dial_told(other, answer) == "this frame alone asks for -0.31; for p type -0.34, from b"


def test_frames_that_disagree_give_no_value_at_all(tmp_path):
    content = content_of(tmp_path, row("a", 1.0), row("b", -1.0, sd_mm=0.08))
    (answer,) = content.answers
    assert typed(answer) == "" and held(answer) == "0.31" and answer.needs_person
    assert todo_told(answer).startswith("type nothing yet: settle which of its frames")
    assert {line["dial"] for line in table(content).values()} == {""}
    assert {line["dial_not_advised"] for line in table(content).values()} == {"-0.31", "0.31"}


def test_nothing_is_typed_while_all_share_a_shift(tmp_path):
    rows = [row(f"f{k}", 1.0 + 0.02 * k, performer=f"p{k}") for k in range(5)]
    content = content_of(tmp_path, *rows)
    assert content.devices[0].severity is Severity.FAIL
    assert not any(typed(answer) for answer in content.answers) and all(held(a) for a in content.answers)
    assert {line["dial"] for line in table(content).values()} == {""}
    # a move beyond the dial's end is told as held back too, not as something to set
    content = content_of(tmp_path, *rows[:4], replace(rows[4], verdict=Verdict.BEYOND, left_over_mm=0.4))
    last = next(a for a in content.answers if a.performer == "p4")
    assert todo_told(last).startswith("type nothing yet: all performers with cam share a shift")


def test_who_stands_apart_is_looked_at_before_the_value_is_typed(tmp_path):
    rows = [row(f"f{k}", t, performer=f"p{k}") for k, t in enumerate((-0.6, 0.7, -0.7, 0.6, 0.5, -0.5, 9.0))]
    content = content_of(tmp_path, *rows)
    (summary,) = content.devices
    first, _ = news_of(summary.text)
    assert first.startswith("cam: p6 stands apart from all other performers: p6 by +9.0 mm")
    answer = next(a for a in content.answers if a.performer == "p6")
    assert answer.needs_person and todo_told(answer).startswith("first look whether that is the usual bite")


@pytest.mark.parametrize(
    ("findings", "wanted"),
    [
        ([], "more enamel"),
        ([{"code": "sharp", "severity": "warn", "todo": "hold still"}], "more enamel"),
        ([{"code": "sharp", "severity": "fail", "todo": "hold still"}], "hold still"),
        ([{"code": "sharp", "severity": "fail", "todo": ""}], "mend what the reason names, or choose"),
    ],
)
def test_what_is_to_do_is_always_told(findings, wanted):
    decision = dict.fromkeys(("dial", "dial_before", "dial_before_mm", "dial_step", "left_over_mm"))
    why = "offset +1.0 +- 0.4 mm is not known to within 0.5 mm: more enamel"
    decision |= {"verdict": "unsure", "why": why, "dial_advised": False}
    content = {
        "frame": "f", "performer": "p", "device": "cam", "offset": None, "findings": findings,
        "annotators": [], "settings": {"device": {"enamel_bias_mm": None}}, "decision": decision,
    }  # fmt: skip
    found = row_of(content, "f", Path(__file__), PagePicture(Path("p"), "", 1, 1))
    assert found.todo.startswith(wanted)
    (answer,) = performer_answers([found], [])
    assert todo_told(answer) == found.todo


def test_a_note_of_disagreement_below_the_tolerance_holds_nothing_back(tmp_path):
    content = content_of(tmp_path, row("a", 1.0, sd_mm=0.02), row("b", 1.3, sd_mm=0.02))
    assert [n.severity for n in content.notes if n.code == "frames-disagree"] == [Severity.NOTE]
    assert len(advised_dials(content.answers, 0.5)) == 2



def test_a_picture_that_two_frames_hold_counts_once_whatever_its_files_are_called(tmp_path):
    first = row("a", 1.0, evidence=("sha256:picture", "sha256:depth"))
    again = row("b", 1.0, evidence=("sha256:other", "sha256:depth"))
    own = row("c", 1.2, evidence=("sha256:own",))
    content = content_of(tmp_path, again, own, first)
    twins = {found.name: found.twin_of for found in content.rows}
    assert twins == {"a": "", "b": "a", "c": ""}
    assert pooled_reading(content.rows[[r.name for r in content.rows].index("b")]) is None
    (note,) = (note for note in content.notes if "counts once" in note.text)
    assert note.frames == ("a", "b")


@pytest.mark.parametrize(("summary", "code"), [(Severity.FAIL, 1), (Severity.WARN, 0)])
def test_a_cast_that_says_do_not_type_these_yet_needs_a_person(tmp_path, monkeypatch, summary, code):
    """Fourteen dial values stood under such a line, and the exit code was 0."""
    from types import SimpleNamespace

    from bite.cli import main
    from tests.cast.small_cast import CAST

    made = content_of(tmp_path, row("a", 1.0), row("b", 1.1))
    content = replace(made, devices=tuple(replace(found, severity=summary) for found in made.devices))
    assert content.devices
    (tmp_path / "cast.toml").write_text(CAST.format(device="cam"), encoding="utf-8")
    (tmp_path / "p").mkdir()
    (tmp_path / "p" / "a.bite.toml").write_text("", encoding="utf-8")
    monkeypatch.setattr("bite.cast.run.run_frames", lambda *_, **__: SimpleNamespace(rows=(), failures=()))
    monkeypatch.setattr("bite.cast.run.cast_content", lambda *_: content)
    monkeypatch.setattr("bite.cli.cast._write", lambda *_: "")
    assert main(["cast", str(tmp_path / "cast.toml"), "--jobs", "1"]) == code
