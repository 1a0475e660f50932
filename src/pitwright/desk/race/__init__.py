"""The bite over a race."""
