"""Revledger: the record of calibration changes that a performance workshop keeps."""
