"""What a careful engineer would do without this program, on frames of the independent worlds, beside it."""
