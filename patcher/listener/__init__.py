"""Listening to the network: which sources send, which of them collide, which boxes answer."""
