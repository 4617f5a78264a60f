"""Checks of a show: refresh times, network load, lengths of wire; and all findings of `check`."""
