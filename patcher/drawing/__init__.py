"""Drawings of runs where they hang, as SVG."""
