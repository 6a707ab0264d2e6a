"""`bite agree`: planted scatter comes back, with its scale and its picture."""

import json
from pathlib import Path

import numpy as np
import pytest

from bite.agree.repeat_clicks import Kind, item_scatter, kind_scatter, odd_clicks, pair_agreement
from bite.cli import main
from bite.geometry.teeth import CORNERS

SD_PX = {"d": 1.2, "m": 0.6}
TRUE = {code: (200.0 + 30 * k, 300.0 + 5 * (k % 4)) for k, code in enumerate(CORNERS)}


def passes_of(
    rng: np.random.Generator, count: int, shift: float = 0.0
) -> list[dict[str, tuple[float, float]]]:
    """Clicks with known scatter; the second pass on is shifted by so much to the right."""
    found = []
    for number in range(count):
        clicks = {}
        for code, (x, y) in TRUE.items():
            dx, dy = rng.normal(0, SD_PX[code[-1]], 2)
            clicks[code] = (x + dx + shift * (number > 0), y + dy)
        found.append(clicks)
    return found


def corner_file(path: Path, clicks: dict[str, tuple[float, float]], **other: object) -> Path:
    points = {code: {"x": x, "y": y, "state": "seen"} for code, (x, y) in clicks.items()}
    image = {"file": "a.png", "width": 800, "height": 600}
    path.write_text(json.dumps({"format": "bite-corners 1", "image": image, "points": points} | other))
    return path


def test_planted_scatter_is_found() -> None:
    passes = passes_of(np.random.default_rng(1), 60)
    items = item_scatter(passes, [frozenset()] * 60)
    by_kind = {found.kind: found for found in kind_scatter(items)}
    for kind, letter in ((Kind.DISTAL, "d"), (Kind.MESIAL, "m")):
        found = by_kind[kind]
        assert found.freedom == 4 * 2 * 59
        # sd of an sd with n degrees of freedom is 1 / sqrt(2 n) of it: 3.3 %, four of them
        assert found.sd == pytest.approx(SD_PX[letter], rel=0.13)
        assert found.interval[0] < SD_PX[letter] < found.interval[1]


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    rng, held, tried = np.random.default_rng(2), 0, 300
    for _ in range(tried):
        found = kind_scatter(item_scatter(passes_of(rng, 2), [frozenset()] * 2))[0]
        held += found.interval[0] < SD_PX["d"] < found.interval[1]
    # binomial, 0.95 of 300: three sd are 11
    assert abs(held - 0.95 * tried) < 12


def test_bias_between_two_people_shows_in_bland_altman() -> None:
    pair = pair_agreement(passes_of(np.random.default_rng(3), 2, shift=4.0), [frozenset()] * 2)[0]
    assert pair.limits is not None
    low, high = pair.limits[0].bias_interval
    assert low < -4.0 < high
    assert high < -1.0
    assert pair.limits[1].bias_interval[0] < 0.0 < pair.limits[1].bias_interval[1]


def test_covered_is_compared_with_covered_only() -> None:
    passes = passes_of(np.random.default_rng(4), 3)
    items = item_scatter(passes, [frozenset({"41d"}), frozenset(), frozenset({"41d"})])
    mine = [item for item in items if item.name == "41d"]
    assert [(item.kind, len(item.deviations)) for item in mine] == [(Kind.COVERED, 2)]


@pytest.mark.slow
def test_command_prints_scatter_and_draws_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = [
        corner_file(tmp_path / f"{name}.corners.json", clicks, annotator=name)
        for name, clicks in zip("ab", passes_of(np.random.default_rng(5), 2), strict=True)
    ]
    assert main(["agree", *map(str, files), "--px-per-mm", "4"]) == 0
    out = capsys.readouterr().out
    for part in ("Suggested sigma_px", "Dahlberg", "limits of agreement", "ICC(2,1)", "mm", "distal corners"):
        assert part in out
    assert (tmp_path / "a.agreement.png").read_bytes().startswith(b"\x89PNG")


def test_states_that_differ_are_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clicks = passes_of(np.random.default_rng(6), 2)
    first = corner_file(tmp_path / "a.corners.json", clicks[0], annotator="ab")
    second = corner_file(tmp_path / "b.corners.json", clicks[1], annotator="cd")
    table = json.loads(second.read_text())
    table["points"]["31d"]["state"] = "covered"
    second.write_text(json.dumps(table))
    assert main(["agree", str(first), str(second)]) == 0
    assert "31d: seen (ab), covered (cd)" in capsys.readouterr().out


def test_one_file_or_another_picture_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clicks = passes_of(np.random.default_rng(7), 2)
    first = corner_file(tmp_path / "a.corners.json", clicks[0])
    small = corner_file(
        tmp_path / "b.corners.json", clicks[1], image={"file": "a.png", "width": 640, "height": 480}
    )
    assert main(["agree", str(first)]) == 2
    assert main(["agree", str(first), str(small)]) == 2
    lines = capsys.readouterr().err.strip().split("\n")
    assert len(lines) == 2
    assert "needed two or more" in lines[0] and "640 x 480" in lines[1]


def test_nothing_shared_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = corner_file(tmp_path / "a.corners.json", {"11d": (1.0, 1.0)})
    second = corner_file(tmp_path / "b.corners.json", {"21d": (1.0, 1.0)})
    assert main(["agree", str(first), str(second)]) == 1
    assert "nothing to compare" in capsys.readouterr().out


@pytest.mark.slow
def test_scale_from_a_frame(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    demo = Path(__file__).parents[2] / "demo_bite" / "tern"
    corners = demo / "front.corners.json"
    again = tmp_path / "again.corners.json"
    again.write_bytes(corners.read_bytes())
    code = main(
        [
            "agree",
            str(corners),
            str(again),
            "--frame",
            str(demo / "tern-a07.bite.toml"),
            "--out",
            str(tmp_path),
        ]
    )
    assert code == 0
    assert "mm" in capsys.readouterr().out


def test_one_pass_named_twice_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = corner_file(tmp_path / "a.corners.json", TRUE)
    assert main(["agree", str(path), str(tmp_path / ".." / tmp_path.name / path.name)]) == 2
    assert "is named twice" in capsys.readouterr().err


@pytest.mark.parametrize("count", [2, 3, 5])
def test_an_odd_click_is_named_and_the_pass_where_that_can_be_known(count: int) -> None:
    passes = passes_of(np.random.default_rng(5), count)
    x, y = passes[1]["21d"]
    passes[1]["21d"] = (x + 12.0, y - 9.0)
    (odd,) = odd_clicks(item_scatter(passes, [frozenset()] * count))
    assert odd.name == "21d" and odd.of_pass == (None if count == 2 else 1)
    # 15 px planted; the clicks about it scatter by 1.2 px an axis
    assert odd.off == pytest.approx(15.0, abs=5.0)


def test_clean_passes_seldom_name_a_click() -> None:
    rng, named, tried = np.random.default_rng(6), 0, 300
    for _ in range(tried):
        named += bool(odd_clicks(item_scatter(passes_of(rng, 3), [frozenset()] * 3)))
    # at most one in a hundred by Bonferroni: 3, and three sd more are 8
    assert named <= 8
