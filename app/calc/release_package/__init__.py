"""What a remote customer gets with a released revision: its manifest, its plain words, its archive."""
