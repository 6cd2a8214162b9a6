"""Changes taken back, and brought back again."""
