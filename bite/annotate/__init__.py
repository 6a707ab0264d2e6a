"""The annotation window: what is clicked and why (no toolkit), what is drawn, and the window that shows it."""
