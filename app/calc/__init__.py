"""Values → values: no disk, clock, network, SQL or web. Time, ids and randomness are arguments."""
