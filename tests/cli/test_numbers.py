"""Numbers as they are typed: what is read, and what every refusal says."""

from __future__ import annotations

import argparse

import pytest

from bite.cli.numbers import above_zero, whole


@pytest.mark.parametrize("text", ["0", "-0", "-1", "nan", "inf", "-inf", "1e999", "", "1,5", "1 mm", "--"])
def test_what_is_not_above_zero_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError) as told:
        above_zero("mm above 0")(text)
    assert str(told.value) == f"got {text!r}, needed mm above 0"


@pytest.mark.parametrize(("text", "value"), [("0.1", 0.1), (" 2 ", 2.0), ("1e-3", 0.001), ("+4", 4.0)])
def test_what_is_above_zero_is_read(text: str, value: float) -> None:
    assert above_zero("mm above 0")(text) == value


# int() refuses more than 4300 digits with a ValueError of its own, and takes signs and underscores
@pytest.mark.parametrize("text", ["0", "1001", "-1", "+6", "1_0", "6.0", "", " 6", "²", "9" * 5000])
def test_what_is_no_whole_number_in_range_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError) as told:
        whole("a count", least=1, most=1000)(text)
    assert str(told.value) == f"got {text!r}, needed a count from 1 to 1000"


def test_both_ends_of_the_range_are_read() -> None:
    read = whole("a port", least=1024, most=65535)
    assert [read("1024"), read("65535"), read("08988")] == [1024, 65535, 8988]
