"""Pages of revisions: log one, look at it, decide about it, who changed which cell, port it."""
