"""Linear light to CIELAB with its covariance, differences and their words."""
