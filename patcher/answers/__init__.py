"""Whoever answers: a person at a terminal, a file of answers, or simulated boxes through an eye."""
