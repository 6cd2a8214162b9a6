"""Plans, from what was typed and from what is logged."""
