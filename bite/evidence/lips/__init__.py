"""Where the picture shows the lips ending before enamel."""
