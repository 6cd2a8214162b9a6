"""The logbook: what was measured, when, in which photo, and every change since."""
