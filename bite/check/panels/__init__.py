"""The panels of the before-and-after figure: each draws on given axes, from an assessment."""
