"""Images, block checksums, layouts, decoding, deltas."""
