"""One frame on the bench, without a toolkit: pointer and keys in, scenes out, saves and checks between."""

from bite.annotate.workbench.bench import Workbench

__all__ = ["Workbench"]
