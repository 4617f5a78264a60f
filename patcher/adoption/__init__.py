"""From a person's own table of addresses to a patch, or to the draft of a show file."""
