"""The page that a phone opens, for testing from the ladder."""
