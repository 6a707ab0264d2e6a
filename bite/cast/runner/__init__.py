"""Frames as jobs: which there are, which results still hold, and the worker processes that do the rest."""
