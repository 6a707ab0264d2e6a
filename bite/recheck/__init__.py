"""The dial was turned and the mouth solved again: whether that did what it should."""
