"""`bite device` on simulated cards: text, table, JSON, pictures, --write, and each bad input in one line."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bite.files.device import read_device_file
from tests.cli.runs import Run, edit, names_in, refusal
from tests.device.simulated import Scene, readings, write_card

SCENE = Scene(kind="gauss", size=2.0, width=110, height=90)


def card(folder: Path, scene: Scene = SCENE, name: str = "card", **how: str) -> Path:
    return write_card(folder, name, readings(scene, np.random.default_rng(3)), **how)


@pytest.mark.slow
def test_it_tells_the_finding_first_and_a_table(run: Run, tmp_path: Path) -> None:
    path = card(tmp_path)
    before = names_in(tmp_path)
    ran = run("device", path)
    assert ran.code == 0 and ran.err == ""
    finding, _, table = ran.out.partition("\n\n")
    assert finding.startswith("bench-depth: it smooths with a Gaussian filter, sd 2.00 +- 0.01 px; noise ")
    assert finding.count("\n") < 15 and "--learn-device" in finding and "enamel" in finding
    device = tomllib.loads(table)["device"]["bench-depth"]
    assert device["filter"] == "gauss" and device["smoothing_px"] == pytest.approx(2.0, abs=0.03)
    assert set(device) == {"smoothing_px", "smoothing_sd_px", "noise_mm", "correlation_px", "filter"}
    assert "card.bite.toml at 39" in table and "no date" in table
    assert names_in(tmp_path) == before
    assert run("device", path).out == ran.out


@pytest.mark.slow
def test_the_result_as_json_is_stable(run: Run, tmp_path: Path) -> None:
    path = card(tmp_path)
    ran = run("device", path, "--json")
    told = json.loads(ran.out)
    assert ran.code == 0 and told["format"] == "bite-device 1" and told["enamel_bias_mm"] is None
    assert told["cards"][0]["card"]["noise_sd_mm"] > 0 and told["smoothing_sd_px"] > 0
    ends = ("bite.toml", "camera.yaml", "depth.png", "png")
    assert set(told["inputs"]) == {f"card/card.{end}" for end in ends}
    assert run("device", path, "--json").out == ran.out


@pytest.mark.slow
def test_pictures_go_where_they_are_asked(run: Run, tmp_path: Path) -> None:
    ran = run("device", card(tmp_path / "in"), "--out", tmp_path / "out", "--plots", tmp_path / "plots")
    assert ran.code == 0
    assert names_in(tmp_path / "out") == {"bench-depth.device.png"}
    panels = {f"bench-depth.{name}.png" for name in ("edge", "edge-off", "flat", "noise")}
    assert names_in(tmp_path / "plots") == panels
    first = {name: (tmp_path / "plots" / name).read_bytes() for name in panels}
    assert run("device", tmp_path / "in" / "card.bite.toml", "--plots", tmp_path / "plots").code == 0
    assert {name: (tmp_path / "plots" / name).read_bytes() for name in panels} == first


@pytest.mark.slow
def test_write_creates_a_device_file_and_then_changes_only_its_own_keys(run: Run, tmp_path: Path) -> None:
    path, file = card(tmp_path), tmp_path / "bench-depth.device.toml"
    ran = run("device", path, "--write", file)
    assert ran.code == 0 and "was written" in ran.err
    assert read_device_file(file, "bench-depth").filter == "gauss"
    text = file.read_text(encoding="utf-8")
    more = "enamel_bias_mm = 0.15  # learned\n\n[device.other]\nnoise_mm = 1.0\n"
    file.write_text(f"# ours\n{text}{more}", encoding="utf-8")
    edit(file, ("smoothing_px = ", "smoothing_px = 9"))
    changed = file.read_text(encoding="utf-8")
    assert run("device", path, "--write", file).code == 0
    again = file.read_text(encoding="utf-8")
    assert again == changed.replace("smoothing_px = 9", "smoothing_px = ", 1)
    assert read_device_file(file, "bench-depth").enamel_bias_mm == 0.15


def test_write_into_a_cast(run: Run, tmp_path: Path) -> None:
    cast = tmp_path / "cast.toml"
    before = 'format = "bite-cast 1"\nname = "c"\nperformance_device = "bench-depth"\nframes = ["*.toml"]\n'
    cast.write_text(before, encoding="utf-8")
    assert run("device", card(tmp_path), "--write", cast).code == 0
    after = cast.read_text(encoding="utf-8")
    assert after.startswith(before) and tomllib.loads(after)["device"]["bench-depth"]["filter"] == "gauss"


@pytest.mark.slow
def test_a_card_without_corners_needs_no_corner_file(run: Run, tmp_path: Path) -> None:
    path = card(tmp_path)
    edit(path, ('camera = "card.camera.yaml"', 'camera = "card.camera.yaml"\ncorners = "not-yet.json"'))
    assert run("device", path).code == 0


BAD = {
    "bent": (Scene(kind="gauss", size=1, bow_mm=20.0), "the card is not flat"),
    "along the columns": (Scene(kind="gauss", size=1, angle_deg=0.5), "turn the card by about 5 degrees"),
    "along the rows": (Scene(kind="gauss", size=1, angle_deg=90.6, at=0.5), "needed 2 or more"),
    "at 45 degrees": (Scene(kind="none", angle_deg=45.0, width=140, height=140, at=0.5), "turn the card by"),
    "small step": (Scene(kind="gauss", size=1, wall_mm=406.0, noise_after=True), "times the noise"),
    "no wall": (Scene(kind="gauss", size=1, wall_mm=400.0, tilt=(0.02, -0.01)), "no step in depth"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_card_that_cannot_be_measured(run: Run, tmp_path: Path, case: str) -> None:
    scene, words = BAD[case]
    line = refusal(run("device", card(tmp_path, scene)))
    assert words in line and "card.bite.toml" in line and "; " in line


@pytest.mark.parametrize("share", [1.0, 0.8])
def test_a_card_nearer_than_the_sensor_reads(run: Run, tmp_path: Path, share: float) -> None:
    depth = readings(SCENE, np.random.default_rng(3))
    gone = (depth < 460) & (np.random.default_rng(4).random(depth.shape) < share)
    line = refusal(run("device", write_card(tmp_path, "card", np.where(gone, np.nan, depth))))
    assert "no reading, as when it is nearer than the sensor reads; hold the card farther away" in line


def test_an_edge_in_shadow(run: Run, tmp_path: Path) -> None:
    depth = readings(replace(SCENE, kind="none"), np.random.default_rng(3))
    edge = np.abs(np.diff(depth, axis=1, prepend=depth[:, :1])) > 40
    wide = np.lib.stride_tricks.sliding_window_view(np.pad(edge, ((0, 0), (2, 2))), 5, axis=1).any(axis=-1)
    line = refusal(run("device", write_card(tmp_path, "card", np.where(wide, np.nan, depth))))
    assert "within 2 px of the card's edge are missing" in line


def test_a_frame_without_a_map(run: Run, tmp_path: Path) -> None:
    path = card(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.partition("[depth]")[0], encoding="utf-8")
    assert "names no depth map" in refusal(run("device", path))


def test_cards_of_two_devices_or_one_card_twice(run: Run, tmp_path: Path) -> None:
    first = card(tmp_path)
    other = card(tmp_path, replace(SCENE, size=1.0), "other", device="head-worn")
    line = refusal(run("device", first, other))
    assert "device 'head-worn', but card.bite.toml is of 'bench-depth'" in line
    assert "it would count twice" in refusal(run("device", first, card(tmp_path, name="copy")))


def test_a_device_file_with_an_unknown_filter(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bench-depth.device.toml").write_text('[device.bench-depth]\nfilter = "gaus"\n', "utf-8")
    line = refusal(run("device", card(tmp_path)))
    assert "bench-depth.device.toml: [device.bench-depth] filter: got 'gaus'" in line
    assert "did you mean 'gauss'?" in line


@pytest.mark.slow
def test_a_file_that_cannot_take_the_table(run: Run, tmp_path: Path) -> None:
    path = card(tmp_path)
    for text, words in (
        ("noise_mm = 0.4\n", "without a header"),
        ("[device]\nbench-depth = { noise_mm = 0.4 }\n", "not written as lines under [device.bench-depth]"),
        ("noise_mm = \n", "not TOML"),
    ):
        file = tmp_path / "x.toml"
        file.write_text(text, encoding="utf-8")
        ran = run("device", path, "--write", file)
        assert ran.code == 2 and ran.out == "" and words in ran.err and ran.err.count("\n") == 1
        assert file.read_text(encoding="utf-8") == text


def test_text_in_the_way_of_a_table_stays(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "cast.toml"
    tricky = (
        'format = "bite-cast 1"\r\nname = """\r\n[device.bench-depth]\r\n"""\r\n'
        'performance_device = "bench-depth"\r\nframes = ["a*"]\r\n\r\n'
        "[ device . bench-depth ] # ours\r\nnoise_mm = 3.0 # guess\r\n# keep me\r\nenamel_bias_mm = 0.2"
    )
    file.write_bytes(tricky.encode())
    assert run("device", card(tmp_path), "--write", file).code == 0
    after = file.read_bytes().decode()
    assert after.startswith(tricky.partition("noise_mm")[0]) and "\n" not in after.replace("\r\n", "")
    assert after.endswith("# keep me\r\nenamel_bias_mm = 0.2\r\n") and "guess" not in after
