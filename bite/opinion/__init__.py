"""A solved mouth looks wrong: which cause explains best what is seen, and what cures it."""
