"""Replaces a dead box or supply by a spare: what hangs where afterwards, and the steps to do it by hand."""
