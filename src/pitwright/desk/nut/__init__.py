"""Advice for the adjuster nut."""
