"""Changed bytes that nothing explains, line by line as hex before and after."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.calc.calibration.comparison import UnexplainedRange

LINE = 16
# A page shows so many ranges, and so many bytes of one; the download holds all.
RANGES = 20
SHOWN = 512


@dataclass(frozen=True, slots=True)
class ByteLine:
    """Up to 16 bytes: changed ones stand in brackets on both sides, so that no colour is needed to see them."""

    address: int
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class RangeView:
    """One range: where, how much of it changed, what is known of it, its first bytes."""

    anchor: str
    start: int
    last: int
    length: int
    changed: int
    note: str
    lines: tuple[ByteLine, ...]
    left_out: int
    name_href: str


def range_views(found: Sequence[UnexplainedRange], name_prefix: str | None) -> tuple[RangeView, ...]:
    """The ranges for the page; `name_prefix` is the address of the naming form up to its range, None for no link."""
    return tuple(_range(one, name_prefix) for one in found)


def _range(one: UnexplainedRange, name_prefix: str | None) -> RangeView:
    shown = min(one.length, SHOWN)
    nameable = name_prefix is not None and one.before is not None and one.after is not None
    return RangeView(
        anchor=f"range-{one.address:x}",
        start=one.address,
        last=one.end - 1,
        length=one.length,
        changed=one.changed,
        note=one.note,
        lines=tuple(_line(one, offset, min(offset + LINE, shown)) for offset in _offsets(one, shown)),
        left_out=one.length - shown,
        name_href=f"{name_prefix}&start={one.address:#x}&end={one.end:#x}" if nameable else "",
    )


def _offsets(one: UnexplainedRange, shown: int) -> list[int]:
    """Where lines begin: at multiples of 16 of the address, as memory is usually listed."""
    first = -one.address % LINE
    return [0, *range(first or LINE, shown, LINE)]


def _line(one: UnexplainedRange, start: int, end: int) -> ByteLine:
    # The first line may be short: it ends where the next multiple of 16 begins.
    end = min(end, start + LINE - (one.address + start) % LINE)
    before = None if one.before is None else one.before[start:end]
    after = None if one.after is None else one.after[start:end]
    return ByteLine(one.address + start, _hex(before, after), _hex(after, before))


def _hex(mine: bytes | None, other: bytes | None) -> str:
    if mine is None:
        return "not in this image"
    parts = [
        f"[{byte:02X}]" if other is None or other[place] != byte else f" {byte:02X} " for place, byte in enumerate(mine)
    ]
    return "".join(parts)
