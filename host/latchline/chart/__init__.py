"""Charts: read them, turn them, fit them to a span."""
