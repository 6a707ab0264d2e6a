"""What is clicked, asked for and said, as values and steps that know no pixels of a screen."""
