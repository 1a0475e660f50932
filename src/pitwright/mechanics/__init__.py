"""What the clutch does: pure functions, SI floats in and out."""
