"""A whole logbook out into an archive, and an archive into a logbook."""
