"""Uploaded bytes → typed values. An error names line, column or address."""
