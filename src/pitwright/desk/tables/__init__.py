"""The weekend as tables for other tools."""
