"""Laps, pace and the comparison of clutch states."""
