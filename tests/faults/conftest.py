"""The command line and copies of demo frames, as the tests of the command line have them."""

from tests.cli.conftest import copy_demo, run

__all__ = ["copy_demo", "run"]
