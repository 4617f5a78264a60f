"""Allocates start addresses: freshly, or changing as little as possible of what is typed into the boxes."""
