"""From the logbook to what is printed."""
