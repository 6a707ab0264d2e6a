"""Depth profiles: read as written, turned round where they fall, and each fault refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bite.files.profile import read_profile
from tests.files.scene import PROFILE

FULL = "along_mm, depth_mm, sigma_mm, region, solved_depth_mm\n" + "".join(
    f"{10 - i},{300 + i},0.{i + 1},{('skin', 'upper', 'lower', 'none')[i % 4]},{301 + i}\n" for i in range(9)
)


def profile_with(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "p.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_reads_the_two_needed_columns(tmp_path: Path) -> None:
    read = read_profile(profile_with(tmp_path, PROFILE.replace(",region", "").replace(",skin", "")))
    assert np.array_equal(read.along_mm, np.arange(10)) and np.allclose(
        read.depth_mm, 300 + np.arange(10) / 10
    )
    assert read.sigma_mm is None and read.region is None and read.solved_depth_mm is None


def test_falling_positions_turn_every_column(tmp_path: Path) -> None:
    read = read_profile(profile_with(tmp_path, FULL))
    assert np.array_equal(read.along_mm, np.arange(2, 11))
    assert np.array_equal(read.depth_mm, np.arange(308, 299, -1))
    assert np.array_equal(read.solved_depth_mm, np.arange(309, 300, -1))
    assert read.sigma_mm[0] == 0.9 and read.region[0] == "skin" and read.region[-2] == "upper"


@pytest.mark.parametrize("empty", ["", "nan", "NaN", "0", "-1"])
def test_empty_depth_is_no_reading(tmp_path: Path, empty: str) -> None:
    read = read_profile(profile_with(tmp_path, PROFILE.replace("3,300.3,", f"3,{empty},")))
    assert np.flatnonzero(np.isnan(read.depth_mm)).tolist() == [3]


def test_empty_lines_and_crlf_change_nothing(tmp_path: Path) -> None:
    path = profile_with(tmp_path, PROFILE)
    before = read_profile(path).depth_mm
    path.write_bytes(b"\xef\xbb\xbf" + PROFILE.replace("\n", "\r\n\r\n").encode())
    assert np.array_equal(read_profile(path).depth_mm, before)


BAD = {
    "misspelt column": ("along_mm", "along", "did you mean 'along_mm'?"),
    "no depth": ("depth_mm,", "solved_depth_mm,", "no column depth_mm"),
    "doubled column": ("region", "depth_mm", "stands there twice"),
    "unknown region": (
        "2,300.2,skin",
        "2,300.2,skn",
        "line 4, region: unknown region 'skn'; did you mean 'skin'?",
    ),
    "too many fields": ("2,300.2,skin", "2,300.2,skin,", "line 4: 4 fields, needed 3"),
    "comma in decimals": ("2,300.2,skin", "2,300,2,skin", "line 4"),
    "word": ("2,300.2,skin", "2,far,skin", "line 4, depth_mm: got 'far'"),
    "infinite depth": ("2,300.2,skin", "2,inf,skin", "line 4, depth_mm: got 'inf'"),
    "underscore": ("2,300.2,skin", "2,3_00,skin", "'3_00'"),
    "empty position": ("2,300.2,skin", ",300.2,skin", "line 4, along_mm"),
    "nan position": ("2,300.2,skin", "nan,300.2,skin", "line 4, along_mm"),
    "doubled position": ("2,300.2,skin", "1,300.2,skin", "line 4, along_mm: '1' after '1'"),
    "turning position": ("2,300.2,skin", "0.5,300.2,skin", "line 4, along_mm: '0.5' after '1'"),
    "too few": ("".join(f"{i},{300 + i / 10},skin\n" for i in (1, 2, 3)), "", "7 rows with a depth"),
    "too few readings": (
        "0,300.0,skin\n1,300.1,skin\n2,300.2",
        "0,,skin\n1,nan,skin\n2,0",
        "7 rows with a depth",
    ),
    "header only": (PROFILE[PROFILE.index("\n") :], "\n", "0 rows with a depth"),
    "open quote": ("2,300.2,skin", '2,300.2,"skin', "not CSV"),
    "nul": ("2,300.2,skin", "2,300.2,sk\x00in", "p.csv"),
    "prose": (PROFILE, "hello", "unknown column 'hello'"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_profile_is_refused(tmp_path: Path, refuses, case: str) -> None:
    old, new, expected = BAD[case]
    assert old in PROFILE
    path = profile_with(tmp_path, PROFILE.replace(old, new, 1))
    assert expected in refuses(lambda: read_profile(path))


def test_sigma_must_be_positive(tmp_path: Path, refuses) -> None:
    path = profile_with(tmp_path, FULL.replace(",0.3,", ",0,"))
    assert "line 4, sigma_mm" in refuses(lambda: read_profile(path))


def test_too_many_rows_are_refused(tmp_path: Path, refuses) -> None:
    path = profile_with(tmp_path, "along_mm,depth_mm\n" + "".join(f"{i},300\n" for i in range(20_001)))
    assert "20001 rows" in refuses(lambda: read_profile(path))
