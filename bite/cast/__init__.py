"""Many frames at once: run them over all cores, keep what is done, and read what they show together."""
