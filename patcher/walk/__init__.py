"""The walk-through as steps and as a record: what must be seen, and what was seen.

All of it is pure but for the record's file.
"""
