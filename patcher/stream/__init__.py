"""Levels as packets, on a clock, and onto the network."""
