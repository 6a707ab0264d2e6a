"""Exit codes, and how each kind of trouble is told: the same for every command."""

from __future__ import annotations

import platform
import traceback
from collections.abc import Iterable
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.streams import tell
from bite.errors import BiteError, InputError

if TYPE_CHECKING:
    from bite.check.decision import Verdict


class Exit(IntEnum):
    """What a command hands back to the shell.

    The last three follow the customs of Unix shells: a fault inside a program, and 128 plus the signal for an
    interrupt from the keyboard and for a reader that went away.
    """

    FINE = 0
    PERSON = 1
    BAD_INPUT = 2
    FAULT = 70
    INTERRUPTED = 130
    NO_READER = 141


def exit_for(verdicts: Iterable[Verdict], *, bad_inputs: int = 0, faults: int = 0) -> Exit:
    """Give the exit code of a batch: the worst of what happened in it.

    Parameters
    ----------
    verdicts : iterable of Verdict
        Of the frames that could be checked.
    bad_inputs, faults : int
        How many frames could not be read, and how many met a fault of the program.

    Examples
    --------
    >>> from bite.check.decision import Verdict
    >>> exit_for([Verdict.MOVE, Verdict.LEAVE]).value, exit_for([Verdict.MOVE, Verdict.UNSURE]).value
    (0, 1)
    >>> exit_for([Verdict.UNSURE], bad_inputs=1).value
    2
    """
    from bite.check.decision import Verdict

    if faults:
        return Exit.FAULT
    if bad_inputs:
        return Exit.BAD_INPUT
    needs_nobody = {Verdict.LEAVE, Verdict.MOVE, Verdict.USABLE}
    return Exit.FINE if needs_nobody.issuperset(verdicts) else Exit.PERSON


def tell_bad_input(error: BiteError, file: str | Path | None = None) -> None:
    """Write one line to stderr that says what is wrong; ``file`` goes first where the error names no file."""
    text = " ".join(str(error).split())
    if file is not None and not isinstance(error, InputError):
        text = f"{file}: {text}"
    tell(text)


def tell_fault(error: BaseException) -> None:
    """Write the traceback of a fault of the program to stderr, and one line that asks for a report."""
    from bite import __version__

    where = f"Python {platform.python_version()} on {platform.system()}"
    tell(
        "".join(traceback.format_exception(error))
        + f"This is a fault in bite {__version__} ({where}), not in your files. Please report it with the "
        "lines above and the command you gave, and the .toml, .json and .yaml files if you may. Do not send "
        "pictures, depth maps or meshes of faces."
    )
