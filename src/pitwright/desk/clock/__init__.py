"""Timers, the pit clock, the list before a main, fuel stops."""
