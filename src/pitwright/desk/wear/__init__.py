"""Whether spring and shoes last."""
