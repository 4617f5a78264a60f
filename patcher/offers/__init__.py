"""Proposals beside what hangs now: what each would change in the show file, and what is left over."""
