"""From files to numbers with standard deviations. No opinions."""
