"""Where the clutch bites, and one launch."""
