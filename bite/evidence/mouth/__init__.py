"""Where the incisors are, how large, how far apart, and what the picture shows of them."""
