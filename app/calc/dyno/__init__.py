"""Atmosphere, curves, repeatability, gain, strip, economy, limits."""
