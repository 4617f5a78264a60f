"""The page that a phone opens: the ladder's end of Patcher."""
