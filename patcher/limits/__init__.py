"""Whether the show holds: refresh time, network, lengths of wire, and all findings of `check`."""
