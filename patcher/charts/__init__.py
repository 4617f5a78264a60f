"""Cable charts, universe maps and voltage plots."""
