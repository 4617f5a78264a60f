"""The talk of a walk-through and of a diagnosis, whoever answers: terminal, phone or simulated boxes."""
