"""The clutch the mechanics compute with, and what stands beside it."""
