"""Dyno pages: dynos, sessions, pulls, gain, the inbox."""
