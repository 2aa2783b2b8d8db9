"""All SQL: session first, never commits."""
