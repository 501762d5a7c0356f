"""Plans: options × chart × technique × bed → numbered passes with masks."""
