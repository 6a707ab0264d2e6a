"""Which frame of a take to register a bite with."""
