"""What a user does, from photo files to answers: the only place that joins files, measuring and the logbook."""
