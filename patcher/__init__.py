"""Plans, proves and tests the wiring of a display of addressable pixels."""

__version__ = "0.1.0"
