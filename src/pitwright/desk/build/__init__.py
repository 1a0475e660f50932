"""The rebuild, step by step."""
