"""Parts and shims: owned, fitted, left, to buy."""
