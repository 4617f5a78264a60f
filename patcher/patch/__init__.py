"""Which channels each pixel has: the patch, its rules, its files, and what differs between two."""
