"""One file per command. Each imports what it needs inside its function, so that help comes at once."""
