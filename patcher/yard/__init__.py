"""Simulated boxes, for trying a show without hardware."""
