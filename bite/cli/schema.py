"""`bite schema`: the keys of a kind of file as JSON Schema."""

from __future__ import annotations

import argparse

from bite.cli.exits import Exit
from bite.cli.streams import print_file

_KINDS = ("frame", "rig", "cast", "device", "corners", "history", "result")
_FOOT = """\
TOML files are checked as the tables they hold. Rules between keys are not in a schema: bite check tells them.
exit codes: 0 printed, 2 usage."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "schema",
        help="print the keys of a kind of file as JSON Schema",
        description="Print the JSON Schema of a kind of file, for an editor or another tool.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("kind", choices=_KINDS, metavar="KIND", help=", ".join(_KINDS))


def run(args: argparse.Namespace) -> int:
    """Print the schema."""
    import json

    from bite.files.schema import schema_of

    print_file(json.dumps(schema_of(args.kind), indent=1, ensure_ascii=False) + "\n")
    return int(Exit.FINE)
