"""The window itself: a canvas of whatever toolkit the machine has, or a browser."""
