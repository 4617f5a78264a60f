"""Which channels each pixel has: the patch, how it is laid, its rules and its file."""
