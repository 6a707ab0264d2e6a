"""Can this one frame register a bite, and how far must its teeth move? The main question."""
