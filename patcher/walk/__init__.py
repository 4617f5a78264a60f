"""The walk-through as a plan and a record: what must be seen, and what was seen.

All of it is pure but for the record's file.
"""
