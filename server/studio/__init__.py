"""Frozen values and decisions of the studio: heads, looks, nudges. Standard library only."""
