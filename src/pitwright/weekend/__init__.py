"""The weekend's cards and records, and the state folded from them."""
