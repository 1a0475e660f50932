"""The sheet of a day or of the weekend."""
