"""Paper: the strip, labels, the bench schedule and the house file, drawn in millimetres."""
