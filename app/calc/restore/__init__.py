"""The way back to stock: steps, evidence, what counts as done."""
