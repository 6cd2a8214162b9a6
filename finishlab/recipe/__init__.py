"""Recipes that boards and stair parts share, the cans they are put on from, and the standard: records and commands."""
