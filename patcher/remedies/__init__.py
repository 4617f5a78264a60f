"""What to do about a fault: with the hands, or by a change to the show file, and the frame that confirms it."""
