"""The terminal: keys, folded lines, tables, signals, and printing that never blocks."""
