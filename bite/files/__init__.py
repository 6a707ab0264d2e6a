"""Readers and writers, one format a module; nothing else in the package touches a path."""
