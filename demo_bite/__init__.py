"""The demo: an invented company, invented heads, computed pictures."""
