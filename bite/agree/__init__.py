"""How well clicks repeat: several people, or one person twice, on one picture."""
