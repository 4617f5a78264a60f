"""Drawings, tables, pages."""
