"""How to fix a fault: by hand, or by a change to the show file; and the step that confirms it."""
