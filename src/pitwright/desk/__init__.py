"""A package per job: each function takes a weekend and returns a frozen answer or a record."""
