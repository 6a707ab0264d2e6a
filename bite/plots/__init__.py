"""What all figures share: style, saving, photographs in axes."""
