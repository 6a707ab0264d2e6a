"""What the window draws: picture, marks, panel, loupe and help, as pixels without a toolkit."""
