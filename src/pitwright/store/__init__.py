"""The folder on disk: the only package that touches files."""
