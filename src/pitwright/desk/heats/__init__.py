"""Heats and what changed between them."""
