"""The logbook on a phone or in a browser: a second face of the same commands and the same documents."""
