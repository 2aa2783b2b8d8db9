"""Strip runs, economy trials, and runs computed from the wheel power."""
