"""The stair: entering it, logging what was done, showing how far each part is."""
