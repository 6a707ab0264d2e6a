"""The command line: one module a command, each with `add_parser` (cheap) and `run` (which imports the rest).

A new command is a module here and its name in `COMMANDS`; nothing else. Modules are imported for every call,
`bite --help` too, so their top holds nothing heavier than argparse.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import NoReturn

from bite.cli.exits import Exit, tell_bad_input, tell_fault
from bite.cli.streams import guarded_streams, open_missing_streams
from bite.errors import BiteError

COMMANDS = (
    *("new", "choose", "annotate", "check", "cast", "watch", "opinion", "recheck", "dial", "device", "agree"),
    "schema",
)
"""In the order in which `bite --help` lists them: the order of the work."""

_ABOUT = "Measure, from one bite frame, how far a digital performer's teeth must move."
_FOOT = """\
exit codes: 0 nothing needs a person, 1 something does, 2 bad input or usage.
bite COMMAND --help tells more. Not a medical device; never force a bite."""


class OneLineParser(argparse.ArgumentParser):
    """A parser that tells a usage error in one line, as all other bad input is told."""

    def _meant(self, message: str) -> str:
        """Name the nearest command or option to a word that is none."""
        import difflib

        word = re.search(r"invalid choice: '([^']*)'|unrecognized arguments: (--[^\s=]*)", message)
        if word is None:
            return ""
        if word[1] is not None:
            known = [name for action in self._actions for name in action.choices or ()]
        else:
            known = [name for action in self._actions for name in action.option_strings]
        close = difflib.get_close_matches(word[1] or word[2], known, n=1, cutoff=0.7)
        return f"; did you mean {close[0]!r}?" if close else ""

    def parse_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]  # argparse overloads it
        """Parse; what a command does not know is told by that command, which knows its own options."""
        found, extra = self.parse_known_args(args, namespace)
        if extra:
            commands = [a for a in self._actions if isinstance(a, argparse._SubParsersAction)]
            own = commands[0].choices.get(found.command, self) if commands else self
            own.error(f"unrecognized arguments: {' '.join(extra)}")
        return found

    def error(self, message: str) -> NoReturn:
        """Write the line to stderr and leave with exit code 2."""
        line = " ".join(f"{self.prog}: {message}{self._meant(message)}; see {self.prog} --help".split())
        self.exit(Exit.BAD_INPUT, f"{line}\n")


def make_parser() -> argparse.ArgumentParser:
    """Make the parser of all commands."""
    from bite import __version__

    parser = OneLineParser(
        prog="bite",
        description=_ABOUT,
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"bite {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command", required=True)
    for name in COMMANDS:
        module = import_module(f"bite.cli.{name}")
        module.add_parser(subparsers)
        command = subparsers.choices[name]
        command.allow_abbrev = False
        command.set_defaults(run=module.run)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code.

    Parameters
    ----------
    argv : sequence of str, optional
        The arguments after the program's name; those of the process by default.
    """
    open_missing_streams()
    for stream in (sys.stdout, sys.stderr):
        _survive_odd_names(stream)
    # the matrices here are small: threads inside one product cost more than they give, and frames run side
    # by side
    for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(threads, "1")
    with guarded_streams():
        try:
            code = _run(argv)
            sys.stdout.flush()
            return int(code)
        except BrokenPipeError:
            return int(Exit.NO_READER)
        except KeyboardInterrupt:
            return int(Exit.INTERRUPTED)
        except BiteError as error:
            tell_bad_input(error)
            return int(Exit.BAD_INPUT)
        except Exception as error:
            tell_fault(error)
            return int(Exit.FAULT)


def _run(argv: Sequence[str] | None) -> int:
    try:
        args = make_parser().parse_args(_with_values(sys.argv[1:] if argv is None else argv))
    except SystemExit as left:  # --help, --version and usage errors
        return left.code if isinstance(left.code, int) else int(Exit.FINE)
    run: Callable[[argparse.Namespace], int] = args.run
    return run(args)


def _with_values(argv: Sequence[str]) -> list[str]:
    """Mark `-1.0=minus.obj` as a value: argparse takes any word with a leading minus for an option."""
    return [f" {word}" if re.match(r"-[0-9.][^=]*=", word) else word for word in argv]


def _survive_odd_names(stream: object) -> None:
    """Let a name that the terminal has no letters for be written with escapes instead of failing."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="backslashreplace")
