"""Proof by film: what a clip says of each pixel of a show, several clips as one, and what is kept of it."""
