"""The annotation window: what is clicked and why, what is drawn, and the window that shows it."""
