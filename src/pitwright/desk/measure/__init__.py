"""Readings judged as they are typed."""
