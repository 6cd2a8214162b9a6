"""When a coat went wrong, and the care of a stair years later: what it is, what first, what never."""
