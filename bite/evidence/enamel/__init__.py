"""Where the picture shows enamel, its edges, and what follows below them."""
