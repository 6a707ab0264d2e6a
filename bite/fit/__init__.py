"""From residuals to parameters with a covariance. Knows arrays, cameras and surfaces; no files, pictures or rigs."""
