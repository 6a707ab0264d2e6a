"""What clicked corners say: for the fit, against each other, and through depth."""
