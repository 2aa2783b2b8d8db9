"""The number of a row, as it stands in an address, a form or a command."""

import re

# str.isdigit() is true of "²", which int() refuses; and no table here reaches ten digits.
_NUMBER = re.compile(r"[0-9]{1,9}")


def row_id(text: str) -> int | None:
    """The row's number; None for what is none.

    >>> row_id("12"), row_id("²"), row_id("stock"), row_id("9" * 5000)
    (12, None, None, None)
    """
    return int(text) if _NUMBER.fullmatch(text) else None
