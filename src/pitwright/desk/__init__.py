"""One module per capability: takes a weekend, returns a frozen result."""
