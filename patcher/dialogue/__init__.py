"""What is said in a walk-through and a diagnosis, whoever answers: terminal, phone or simulated boxes."""
