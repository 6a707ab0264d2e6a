"""What does a depth sensor do to a step and to a flat? Measured on a card held before a wall."""
