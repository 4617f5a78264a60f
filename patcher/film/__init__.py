"""Proof by film: the code that the boxes play, a clip of it read back, and what it says of each pixel."""
