"""What a depth map or profile says: for the fit, its cover, its filter, hair before the skin."""
