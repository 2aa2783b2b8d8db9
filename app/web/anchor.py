"""Journal heads as they stand on printed sheets."""

import re

from app.errors import BadInput

_HEAD = re.compile(r"([0-9]{1,18})-([0-9a-f]+)")


def read_anchor(text: str) -> tuple[int, str]:
    """A printed head "12-0123456789abcdef" as (entry number, hex digits); raises `BadInput` for anything else."""
    found = _HEAD.fullmatch(text.strip().lower())
    if found is None:
        shown = text.strip()[:80]
        raise BadInput(f"“{shown}” is no journal head; write it as printed, like 12-0123456789abcdef.", field="anchor")
    return int(found[1]), found[2]
