"""Restore steps of the demo's story."""

RESTORE_STEPS = {}
