"""What small simulated casts show together: who clicks elsewhere, which device, and what a cast teaches."""

import json

import numpy as np
import pytest

from bite.cli import main
from tests.cast.small_cast import DEVICE_TABLE, Performer, write_small_cast

TOO_DEEP_MM = 0.9
"""Where the sensor of these casts sees enamel; its table says 0.15 mm."""


def run(path, *more):
    code = main(["cast", str(path), "--jobs", "1", *more])
    return code, json.loads((path.parent / "cast.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def mixed(tmp_path_factory):
    """Run a cast of four performers, each clicked by two people, and of one with another device."""
    folder = tmp_path_factory.mktemp("mixed")
    clicked = (("ab", 0.0), ("cd", 4.0))
    performers = [Performer(f"p{k}", k, t_mm=0.6, annotators=clicked) for k in (1, 2, 3, 5)]
    odd = Performer("q1", 4, t_mm=0.6, device="other-depth", annotators=(("ab", 0.0),))
    path = write_small_cast(folder, [*performers, odd], 2)
    scanned(path.parent)  # crowns that are not the performer's own would hide what clicks do
    return run(path)[1]


def scanned(folder):
    """Let every rig say that its teeth are scans of the performer's own."""
    for rig in folder.rglob("rig.toml"):
        text = rig.read_text(encoding="utf-8")
        rig.write_text(text.replace('"bite-rig 1"\n', '"bite-rig 1"\nteeth = "scanned"\n'), encoding="utf-8")


@pytest.mark.slow
def test_an_annotator_who_clicks_elsewhere_is_told(mixed):
    (note,) = (note for note in mixed["notes"] if note["code"] == "annotator-shift")
    assert note["severity"] == "warn" and note["text"].startswith("corners by ab ask for teeth")
    assert "above those by cd" in note["text"] and "bite agree" in note["todo"]
    told_mm = float(note["text"].split()[6])
    # 4 px at 2.3 to 2.6 px a mm; a quarter of it for what the sds leave open
    assert told_mm == pytest.approx(1.65, abs=0.4)


@pytest.mark.slow
def test_several_devices_are_pooled_apart_and_the_odd_one_is_told(mixed):
    by_device = {summary["device"]: summary for summary in mixed["devices"]}
    assert {name: len(found["performers"]) for name, found in by_device.items()} == {
        "bench-depth": 4,
        "other-depth": 1,
    }
    assert by_device["other-depth"]["sharing"] != by_device["bench-depth"]["sharing"] or (
        by_device["other-depth"]["shift_mm"] is None
    )
    (note,) = (note for note in mixed["notes"] if note["code"] == "other-device")
    assert "2 frames were shot with other-depth" in note["text"]
    assert sorted(note["frames"]) == ["q1-0000", "q1-0001"]


@pytest.mark.slow
@pytest.mark.filterwarnings("error")
def test_a_learned_table_makes_the_next_cast_better(tmp_path, capsys):
    def deep(name, seed):
        return Performer(name, seed, enamel_bias_mm=TOO_DEEP_MM)

    # a table that leaves the enamel open
    table = DEVICE_TABLE.format(name="bench-depth", bias=0.15, bias_sd=0.3)
    first = write_small_cast(tmp_path / "first", [deep(f"p{k}", 10 + k) for k in range(4)])
    second = write_small_cast(tmp_path / "second", [deep("q0", 20)])
    for path in (first, second):
        (path.parent / "bench-depth.device.toml").write_text(table, encoding="utf-8")
        scanned(path.parent)  # so that the enamel is what leaves an offset open
    learned = tmp_path / "second" / "learned.device.toml"
    _, before = run(second)
    run(first, "--learn-device", str(learned))
    table = learned.read_text(encoding="utf-8")
    assert '[device."bench-depth"]' in table and "enamel bias learned from" in table
    capsys.readouterr()
    # never over what people wrote
    assert main(["cast", str(first), "--jobs", "1", "--learn-device", str(learned)]) == 2
    assert "is there already" in capsys.readouterr().err and learned.read_text(encoding="utf-8") == table

    (second.parent / "bench-depth.device.toml").write_text(table, encoding="utf-8")
    _, after = run(second)

    def errors(content):
        return np.array([abs(frame["t_mm"]) for frame in content["frames"]])

    # enamel 0.75 mm deeper than the table says: a table with that in leaves what noise and four mouths leave
    assert errors(before).mean() > 0.4 and errors(after).mean() < errors(before).mean() / 2
    for old, new in zip(before["frames"], after["frames"], strict=True):
        assert new["sd_mm"] < 0.75 * old["sd_mm"]
    assert all(f["interval_mm"][0] <= 0.0 <= f["interval_mm"][1] for f in after["frames"])


@pytest.mark.slow
def test_nothing_is_learned_where_nothing_is_shared(tmp_path, capsys):
    target = tmp_path / "learned.device.toml"
    alone = write_small_cast(tmp_path / "alone", [Performer("p1", 1, t_mm=0.6)])
    run(alone, "--learn-device", str(target))
    assert "nothing to learn" in capsys.readouterr().err and not target.exists()
