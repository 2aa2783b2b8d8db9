"""Addresses as people type them."""

from app.errors import BadInput


def address_of(text: str, field: str) -> int:
    """An address as it stands in the image: hexadecimal, with or without 0x, as the trade writes it.

    Raises BadInput with the field's name.

    >>> address_of("0x8120", "at") == address_of("8120", "at") == 0x8120
    True
    """
    digits = text.strip().lower().removeprefix("0x")
    if not digits or len(digits) > 12 or set(digits) - set("0123456789abcdef"):
        raise BadInput(f"“{text[:20]}” is no address; write it in hexadecimal, like 0x8120.", field=field)
    return int(digits, 16)
