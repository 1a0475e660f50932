"""A race-weekend assistant for the clutch bench of a nitro 1/8 on-road car."""

__version__ = "0.1.0"
