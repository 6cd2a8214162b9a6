"""Which board comes closest to the floor: gathered from the logbook, compared, told, and its commands."""
