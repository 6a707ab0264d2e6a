"""A run of a cast: what it writes, what it takes as it is, and that nothing stops it."""

import csv
import json
import shutil

import pytest

from bite.cast.sheets.written import cell
from bite.cli import main
from tests.cast.conftest import outputs, write_cast


@pytest.mark.slow
def test_bad_files_are_told_in_a_line_each_and_the_rest_is_done(done):
    folder, code = done
    assert code == 2
    cast = json.loads((folder / "cast.json").read_text(encoding="utf-8"))
    assert cast["format"] == "bite-cast-result 1"
    assert [f["verdict"] for f in cast["frames"]] == ["leave", "usable"]
    assert len(cast["failures"]) == 31 and all("\n" not in f["line"] for f in cast["failures"])


@pytest.mark.slow
def test_text_cells_cannot_start_a_formula_and_numbers_stay_numbers(done):
    rows = list(csv.DictReader((done[0] / "cast.csv").read_text(encoding="utf-8").splitlines()))
    by_verdict = {row["verdict"]: row for row in rows}
    assert by_verdict["usable"]["performer"].startswith("'=SUM")
    float(by_verdict["leave"]["offset_mm"])
    for start in "=+-@\t\r":
        assert cell(start + "x")[0] == "'"


@pytest.mark.slow
def test_a_second_run_checks_nothing_and_writes_the_same_bytes(done, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(done[0], folder)
    times = {p: p.stat().st_mtime_ns for p in folder.rglob("*.result.json")}
    assert main(["cast", str(folder / "cast.toml"), "--jobs", "1"]) == done[1]
    assert outputs(folder) == outputs(done[0])
    assert {p: p.stat().st_mtime_ns for p in folder.rglob("*.result.json")} == times and len(times) == 2


@pytest.mark.slow
def test_a_change_of_one_input_redoes_that_frame_only(done, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(done[0], folder)
    clicks = folder / "whimbrel" / "front.corners.json"
    clicks.write_text(clicks.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    times = {p.name: p.stat().st_mtime_ns for p in folder.rglob("*.result.json")}
    main(["cast", str(folder / "cast.toml"), "--jobs", "1"])
    changed = {p.name for p in folder.rglob("*.result.json") if p.stat().st_mtime_ns != times[p.name]}
    assert changed == {"whimbrel-a02.result.json"}


@pytest.mark.slow
def test_a_picture_that_is_not_what_would_be_drawn_is_drawn_again(tmp_path):
    """The result holds all the while: inputs, version and settings are those of now."""
    path = write_cast(tmp_path, "whimbrel")
    whimbrel = tmp_path / "whimbrel"
    result, picture = (whimbrel / f"whimbrel-a02.{end}" for end in ("result.json", "before-after.png"))
    main(["cast", str(path), "--jobs", "1"])
    before, whole = result.read_bytes(), picture.read_bytes()
    at = whole.index(b"tEXtDrawing\0") + len(b"tEXtDrawing\0")
    picture.write_bytes(whole[:at] + b"0" * 12 + whole[at + 12 :])
    main(["cast", str(path), "--jobs", "1"])
    assert picture.read_bytes() == whole and result.read_bytes() == before
    picture.unlink()
    main(["cast", str(path), "--jobs", "1"])
    assert picture.read_bytes() == whole and result.read_bytes() == before


@pytest.mark.slow
def test_results_of_bite_check_are_taken_as_they_are(tmp_path):
    path = write_cast(tmp_path, "whimbrel")
    main(["check", str(tmp_path / "whimbrel" / "whimbrel-a02.bite.toml"), "--cast", str(path), "--quiet"])
    result = tmp_path / "whimbrel" / "whimbrel-a02.result.json"
    stamp = result.stat().st_mtime_ns
    assert main(["cast", str(path), "--jobs", "1"]) == 0
    assert result.stat().st_mtime_ns == stamp


@pytest.mark.slow
def test_a_broken_result_is_done_again_and_old_ones_are_told(done, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(done[0], folder)
    result = folder / "whimbrel" / "whimbrel-a02.result.json"
    content = json.loads(result.read_text(encoding="utf-8"))
    content["decision"] = []
    result.write_text(json.dumps(content), encoding="utf-8")
    shutil.copy(done[0] / "tern" / "tern-a07.result.json", folder / "tern" / "gone.result.json")
    main(["cast", str(folder / "cast.toml"), "--jobs", "1"])
    assert json.loads(result.read_text(encoding="utf-8"))["decision"]["verdict"] == "usable"
    notes = json.loads((folder / "cast.json").read_text(encoding="utf-8"))["notes"]
    assert [n["frames"] for n in notes if n["code"] == "stale-result"] == [["gone"]]


@pytest.mark.slow
def test_a_doubled_name_is_refused_from_the_second_on(tmp_path):
    path = write_cast(tmp_path, "whimbrel")
    shutil.copytree(tmp_path / "whimbrel", tmp_path / "zz")
    assert main(["cast", str(path), "--jobs", "1"]) == 2
    cast = json.loads((tmp_path / "cast.json").read_text(encoding="utf-8"))
    assert [f["file"] for f in cast["frames"]] == ["whimbrel/whimbrel-a02.bite.toml"]
    assert "is also the name of" in cast["failures"][0]["line"]
    assert "doubled-name" in {note["code"] for note in cast["notes"]}
