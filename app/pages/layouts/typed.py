"""Addresses and ranges as people type them, into the layout's own addresses."""

import re

from app.calc.calibration.address_text import address_of
from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.datatype import BYTE_ORDERS
from app.calc.calibration.layout import Layout, VolatileRange
from app.errors import BadInput

_BETWEEN = re.compile(r"\s*(?:-|–|to|\.\.)\s*")
_MOST_RANGES = 64


def ranges_of(text: str, field: str) -> tuple[tuple[int, int], ...]:
    """Ranges such as "0x8000-0x8FFF, 0xA000-0xBFFF", the last address included, as (start, end exclusive)."""
    words = [word for word in re.split(r"[,;\n]", text) if word.strip()]
    if not words or len(words) > _MOST_RANGES:
        raise BadInput(f"Write 1 to {_MOST_RANGES} ranges, like 0x8000-0x8FFF, separated by commas.", field=field)
    found = []
    for word in words:
        ends = _BETWEEN.split(word.strip())
        if len(ends) != 2:
            raise BadInput(f"“{word.strip()[:40]}” is no range; write it like 0x8000-0x8FFF.", field=field)
        first, last = address_of(ends[0], field), address_of(ends[1], field)
        if last < first:
            raise BadInput(f"The range “{word.strip()[:40]}” ends before it begins.", field=field)
        found.append((first, last + 1))
    return tuple(found)


def checksum_of(given: dict[str, str], layout: Layout) -> ChecksumDefinition:
    """The block checksum that the form's fields describe."""
    base = layout.address_base
    name = given["name"].strip()
    if not name:
        raise BadInput("Write the block's name.", field="name")
    order = next((one for one in BYTE_ORDERS if one == given["byte_order"]), None)
    if order is None:
        raise BadInput("Choose the byte order.", field="byte_order")
    return ChecksumDefinition(
        name,
        given["algorithm"],
        tuple((start - base, end - base) for start, end in ranges_of(given["ranges"], "ranges")),
        address_of(given["stored_at"], "stored_at") - base,
        order,
        address_of(given["start"], "start") if given["start"].strip() else None,
    )


def volatile_of(given: dict[str, str], layout: Layout) -> VolatileRange:
    """The range that the form's fields describe."""
    found = ranges_of(given["range"], "range")
    if len(found) > 1:
        raise BadInput("Add one range at a time, each with its own reason.", field="range")
    (start, end), base = found[0], layout.address_base
    return VolatileRange(start - base, end - base, given["reason"].strip())
