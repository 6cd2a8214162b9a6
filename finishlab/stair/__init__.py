"""The stair: its parts and what they are called, what was done to them, how far each is, and its drawing."""
