"""The stair in the logbook: flights, parts, and what was done to them."""
