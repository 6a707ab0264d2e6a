"""Measure, from one bite frame, how far a digital performer's teeth must move.

The names below are the public ones; they are loaded when they are first used, so that importing this package
costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bite.check.assessment import Assessment
    from bite.check.decision import Verdict
    from bite.check.steps import check_frame
    from bite.errors import BiteError, InputError
    from bite.files.bundle import BiteFrame, load_frame
    from bite.together.shared_offset import Together
    from bite.together.steps import check_together

__version__ = "0.2.0"

__all__ = [
    "Assessment",
    "BiteError",
    "BiteFrame",
    "InputError",
    "Together",
    "Verdict",
    "__version__",
    "check_frame",
    "check_together",
    "load_frame",
]

_HOMES = {
    "Assessment": "bite.check.assessment",
    "BiteError": "bite.errors",
    "BiteFrame": "bite.files.bundle",
    "InputError": "bite.errors",
    "Together": "bite.together.shared_offset",
    "Verdict": "bite.check.decision",
    "check_frame": "bite.check.steps",
    "check_together": "bite.together.steps",
    "load_frame": "bite.files.bundle",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
