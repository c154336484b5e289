"""The verbs: pure functions from values to values."""
