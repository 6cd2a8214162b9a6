"""Boards' records: entered, copied, read from files, held against each other."""
