"""Checks: evidence and fit in, findings out; one question a file."""
