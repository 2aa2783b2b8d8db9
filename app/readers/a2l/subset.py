"""The part of ASAP2 that this reader decodes."""


class NotDecoded(Exception):
    """An item is written correctly but lies outside what this reader decodes; the text says why."""
