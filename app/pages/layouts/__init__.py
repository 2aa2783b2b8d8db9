"""Pages of layouts: upload, look through, let them grow from use."""
