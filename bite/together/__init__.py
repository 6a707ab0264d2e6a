"""Several frames of one performer: one offset from all, and who disagrees."""
