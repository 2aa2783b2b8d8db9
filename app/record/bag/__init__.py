"""One vehicle's whole record on its way from one database to another."""
