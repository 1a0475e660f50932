"""Laps out of what a timing desk hands over: pure text in, seconds out. Files are the store's."""
