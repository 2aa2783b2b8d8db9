"""What a change did: two sessions, their gain, the read-offs, the report for the customer."""
