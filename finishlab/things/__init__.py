"""Boards, floor spots, recipes, cans, cameras and the standard: what each is told by, and its commands."""
