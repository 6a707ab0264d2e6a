"""Run the command line as `python -m bite`."""

from __future__ import annotations

import sys

from bite.cli import main

if __name__ == "__main__":
    sys.exit(main())
