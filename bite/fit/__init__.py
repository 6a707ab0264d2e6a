"""From residuals to parameters with a covariance. Knows no files, pictures or rigs."""
