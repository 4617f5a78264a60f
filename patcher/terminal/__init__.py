"""The terminal: keys, lines, tables, signals, and output that holds nothing up."""
