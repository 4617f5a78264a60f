"""A clip as numbers: its frames laid on each other, where something blinks, which word and which colour it plays."""
