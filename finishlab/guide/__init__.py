"""Where the job stands and what is next: one reading of the logbook, told by `status` and walked through by `start`."""
