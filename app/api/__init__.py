"""The same as JSON."""
