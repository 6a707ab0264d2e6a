"""Text, result content and figures of one frame: drawing and printing only, nothing is computed here."""
