"""A car's pages: list, registration, its own page with history and control units."""
