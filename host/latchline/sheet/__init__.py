"""The set-up sheet."""
