"""Widgets that own one concern each."""
