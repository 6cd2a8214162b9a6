"""A finish: its fields with their limits, how it is typed, asked for, read from files, worded and warned of."""
