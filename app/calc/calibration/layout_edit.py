"""Layouts grow from use: each function gives a new layout with one thing more, or says why it cannot."""

from dataclasses import replace

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.gather import Cells
from app.calc.calibration.layout import Category, Layout, MapDefinition, VolatileRange
from app.calc.calibration.layout_check import check_layout
from app.calc.calibration.placement import PlacedMap, nominal
from app.errors import BadInput


def with_map(layout: Layout, definition: MapDefinition) -> Layout:
    """`layout` and one more map. BadInput when the name is taken or its bytes belong to another map.

    Two maps may have the same breakpoints, and cells of different bits of the same bytes.
    """
    made = replace(layout, maps=(*layout.maps, definition))
    check_layout(made)
    placed = nominal(made).maps
    if not placed or placed[-1].definition is not definition:
        raise BadInput(f"The map {definition.name!r} cannot be placed: {nominal(made).reasons[-1][1]}")
    for other in placed[:-1]:
        _refuse_overlap(placed[-1], other, made.address_base)
    for checksum in made.checksums_in_image:
        _refuse_stored_checksum(placed[-1], checksum, made.address_base)
    return made


def with_category(layout: Layout, name: str, category: Category) -> Layout:
    """`layout` with another category for one map."""
    changed = replace(layout.map(name), category=category)
    at = layout.positions[name]
    made = replace(layout, maps=(*layout.maps[:at], changed, *layout.maps[at + 1 :]))
    check_layout(made)
    return made


def with_checksum(layout: Layout, checksum: ChecksumDefinition) -> Layout:
    """`layout` and one more block checksum. BadInput when its name or its place is taken."""
    made = replace(layout, checksums=(*layout.checksums, checksum))
    check_layout(made)
    for other in layout.checksums:
        if other.stored_at == checksum.stored_at:
            raise BadInput(
                f"The checksum {other.name!r} is already stored at 0x{checksum.stored_at:X}.", field="stored_at"
            )
    for placed in nominal(made).maps:
        _refuse_stored_checksum(placed, made.checksums_in_image[-1], made.address_base)
    return made


def with_volatile(layout: Layout, volatile: VolatileRange) -> Layout:
    """`layout` and one more volatile range. BadInput when it is empty or overlaps another."""
    made = replace(layout, volatile=(*layout.volatile, volatile))
    check_layout(made)
    for other in layout.volatile:
        if volatile.start < other.end and other.start < volatile.end:
            raise BadInput(
                f"The range overlaps the volatile range 0x{other.start:X} to 0x{other.end:X} ({other.reason}).",
                field="start",
            )
    return made


def _own(placed: PlacedMap) -> list[Cells]:
    """Everything a map brings along: values, counts, breakpoints that are not shared by name."""
    axes = [cells for axis in placed.axes if axis.definition.place != "shared" for cells in axis.stored]
    return [placed.values, *placed.counted_by, *axes]


def _refuse_overlap(new: PlacedMap, other: PlacedMap, base: int) -> None:
    low, high = _span(new)
    other_low, other_high = _span(other)
    if high <= other_low or other_high <= low:
        return
    masks = new.definition.bit_mask, other.definition.bit_mask
    for mine in _own(new):
        for theirs in _own(other):
            both_values = mine is new.values and theirs is other.values
            if both_values and all(masks) and not masks[0] & masks[1]:
                continue
            if mine == theirs and mine is not new.values and theirs is not other.values:
                continue
            shared = _common(mine, theirs)
            if shared is not None:
                raise BadInput(
                    f"The map {new.definition.name!r} overlaps {other.definition.name!r} at "
                    f"0x{shared - base:X}; check its address, size and data type.",
                    field="address",
                )


def _span(placed: PlacedMap) -> tuple[int, int]:
    hulls = [cells.hull for cells in _own(placed)]
    return min(low for low, _ in hulls), max(high for _, high in hulls)


def _common(a: Cells, b: Cells) -> int | None:
    """First address that two rectangles share, or None."""
    return min((max(x[0], y[0]) for x in a.runs for y in b.runs if x[0] < y[1] and y[0] < x[1]), default=None)


def _refuse_stored_checksum(placed: PlacedMap, checksum: ChecksumDefinition, base: int) -> None:
    for cells in _own(placed):
        if any(low <= checksum.stored_at < high for low, high in cells.runs):
            raise BadInput(
                f"The checksum {checksum.name!r} is stored at 0x{checksum.stored_at - base:X}, inside the map "
                f"{placed.definition.name!r}.",
                field="stored_at",
            )
