"""Test boards and places of the floor: their records, what is told of them, and their commands."""
