"""Edits of a show file's text, one at a time, as a page on which a show is drawn asks for them."""
