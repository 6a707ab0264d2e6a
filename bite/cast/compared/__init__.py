"""What the frames of a cast show against each other."""
