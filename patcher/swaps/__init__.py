"""A spare in the place of a dead box or supply: what hangs where, and the steps of the hands."""
