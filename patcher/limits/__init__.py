"""What holds and what does not: timing, and what the plan is better without."""
