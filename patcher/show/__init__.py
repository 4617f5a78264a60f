"""What the person writes: the tables of a show file, reading them, and the starter."""
