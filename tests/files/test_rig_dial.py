"""Measured values go into [dial]; every other byte of the rig file stays."""

from __future__ import annotations

from pathlib import Path

import pytest

from bite.errors import InputError
from bite.files.rig_dial import edited, write_dial

ONE = ["mm_per_unit = 3.1999", "mm_per_unit_sd = 0.0010"]
TABLE = ["travel = [[-1.0, 3.1], [0.0, 0.0], [1.0, -3.3]]"]
PATH = Path("rig.toml")


def test_only_the_measured_keys_change() -> None:
    old = (
        '# a\r\nup = 1 # [dial]\r\n\r\n[dial]   # mine\r\npositive = "back"\r\nmm_per_unit = 3.2   # a guess'
        "\r\n# kept\r\nstep = 0.01\r\n\r\n[x]\r\ny=2"
    )
    new = edited(PATH, old, ONE)
    assert new == old.replace(
        "mm_per_unit = 3.2   # a guess", "mm_per_unit = 3.1999   # a guess\r\nmm_per_unit_sd = 0.0010"
    )
    back = edited(PATH, new, TABLE)
    assert "mm_per_unit" not in back and "# a guess" in back and back.endswith("[x]\r\ny=2")
    assert back == old.replace("mm_per_unit = 3.2", TABLE[0])


def test_a_table_over_several_lines_keeps_its_comments() -> None:
    old = "[dial]\ntravel = [ # mm\n  [-1, 3.0],\n  [1, -3.0], # odd\n]\nlimit = 1.0\n"
    new = edited(PATH, old, ONE)
    assert "# mm" in new and "# odd" in new and "[-1, 3.0]" not in new and new.endswith("limit = 1.0\n")


def test_a_dial_without_measure_gets_one_at_its_end() -> None:
    assert (
        edited(PATH, '[dial]\npositive = "back"', ONE)
        == '[dial]\npositive = "back"\n' + "\n".join(ONE) + "\n"
    )
    assert edited(PATH, "[dial]\nstep = 0.1\n\n[z]\n", TABLE) == f"[dial]\nstep = 0.1\n{TABLE[0]}\n\n[z]\n"
    assert edited(PATH, "\ufeff[dial]\n", ONE).startswith("\ufeff[dial]\nmm_per_unit")


@pytest.mark.parametrize(
    "text", ["dial = { step = 0.1 }\n", "dial.step = 0.1\n", 'x = """\n[dial]\n"""\ndial.step = 1\n']
)
def test_other_ways_to_write_it_are_left_alone(text: str) -> None:
    with pytest.raises(InputError, match="by hand"):
        edited(PATH, text, ONE)


def test_the_header_inside_a_text_is_passed_over() -> None:
    old = 'note = """\n[dial]\nstep = 9\n"""\n[dial]\nstep = 0.1\n'
    assert edited(PATH, old, ONE) == old + "\n".join(ONE) + "\n"


def test_a_file_is_written_in_one_step(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b"[dial]\nmm_per_unit = 1\n")
    write_dial(path, TABLE)
    assert path.read_bytes() == (TABLE[0] + "\n").join(["[dial]\n", ""]).encode()
    assert list(tmp_path.iterdir()) == [path]
