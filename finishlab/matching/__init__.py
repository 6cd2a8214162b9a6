"""Which board goes with the floor: the floor's pool and the ranking."""
