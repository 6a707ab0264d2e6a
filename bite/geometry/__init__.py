"""Cameras, rigid motions and surfaces: arrays in, arrays out, no files."""
