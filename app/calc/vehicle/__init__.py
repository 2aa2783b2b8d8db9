"""VIN, fault codes, option coding, identity."""
