"""HTML: GET reads the record, POST calls one action and redirects."""
