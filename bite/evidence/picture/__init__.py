"""Light, lines and sharpness of a picture, before anybody speaks of teeth."""
