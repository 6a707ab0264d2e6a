"""Numbers as they are typed: read whole and within their range, or one line that says what was needed."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from math import isfinite


def above_zero(needed: str) -> Callable[[str], float]:
    """Give a reader of finite numbers above 0 for ``type=`` of an argument.

    Parameters
    ----------
    needed : str
        What the message says was needed, with its unit.

    Returns
    -------
    read : callable
        Raises `argparse.ArgumentTypeError` for anything else.

    Examples
    --------
    >>> above_zero("a length above 0 mm")("0.25")
    0.25
    >>> above_zero("a length above 0 mm")("nan")
    Traceback (most recent call last):
        ...
    argparse.ArgumentTypeError: got 'nan', needed a length above 0 mm
    """

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = 0.0
        if not (isfinite(value) and value > 0):
            raise argparse.ArgumentTypeError(f"got {text!r}, needed {needed}")
        return value

    return read


def whole(needed: str, *, least: int, most: int) -> Callable[[str], int]:
    """Give a reader of whole numbers from ``least`` to ``most`` for ``type=`` of an argument.

    Examples
    --------
    >>> whole("a count", least=1, most=1000)("6")
    6
    >>> whole("a count", least=1, most=1000)("1001")
    Traceback (most recent call last):
        ...
    argparse.ArgumentTypeError: got '1001', needed a count from 1 to 1000
    """

    def read(text: str) -> int:
        # int() refuses thousands of digits with words of its own
        if text.isdecimal() and len(text) < 20 and least <= int(text) <= most:
            return int(text)
        raise argparse.ArgumentTypeError(f"got {text!r}, needed {needed} from {least} to {most}")

    return read
