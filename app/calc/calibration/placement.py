"""Where each part of each map lies in one image: stored counts are read, positions follow from them.

Positions are the same for every image with the same segments and the same stored counts, so a placement is
kept with the layout and found again by comparing those two (one gather over all count cells).
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.datatype import ByteOrder, DataType, storage
from app.calc.calibration.gather import Cells, Gather
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.record_layout import PartRole, Record, RecordPart
from app.errors import BadInput

_KEPT = 4


@dataclass(frozen=True, slots=True)
class PlacedAxis:
    """One axis in one image.

    count : points in use. cells : its breakpoints, or None when they are fixed or computed from `parameters`.
    counted_by : the cell that stores the number of points, or None.
    """

    definition: AxisDefinition
    count: int
    cells: Cells | None = None
    counted_by: Cells | None = None
    parameters: tuple[tuple[PartRole, Cells], ...] = ()
    descending: bool = False

    @property
    def stored(self) -> tuple[Cells, ...]:
        """Everything in the image that decides about this axis."""
        parts = [cells for _, cells in self.parameters]
        return tuple(c for c in (self.cells, self.counted_by, *parts) if c is not None)


@dataclass(frozen=True, slots=True)
class PlacedMap:
    """One map in one image; `index` is its place in the layout."""

    index: int
    definition: MapDefinition
    values: Cells
    axes: tuple[PlacedAxis, ...]
    counted_by: tuple[Cells, ...]


@dataclass(frozen=True, slots=True)
class Placement:
    """All maps of a layout in images with these `spans` and these stored counts."""

    spans: tuple[tuple[int, int], ...]
    maps: tuple[PlacedMap, ...]
    axes: dict[str, PlacedAxis]
    reasons: tuple[tuple[str, str], ...]
    counts: Gather
    expected: tuple[NDArray[Any], ...]
    cache: dict[Any, Any] = field(default_factory=dict)

    @property
    def by_index(self) -> dict[int, PlacedMap]:
        """Placed maps by their index in the layout."""
        found: dict[int, PlacedMap] | None = self.cache.get("by index")
        if found is None:
            found = self.cache["by index"] = {placed.index: placed for placed in self.maps}
        return found

    def fits(self, image: Image) -> bool:
        """True when an image has the segments and the stored counts this placement was made for."""
        if self.spans != image.spans:
            return False
        found = self.counts.read(image.payload)
        return all(np.array_equal(a, b) for a, b in zip(found, self.expected, strict=True))


def place(image: Image, layout: Layout) -> Placement:
    """Positions of all maps of `layout` in `image`; maps that cannot be placed are in `reasons`."""
    kept: tuple[Placement, ...] = layout.cache.get("placements", ())
    for placement in kept:
        if placement.fits(image):
            return placement
    placement = _Placer(image, layout).placement()
    layout.cache["placements"] = (placement, *kept[: _KEPT - 1])
    return placement


@dataclass(slots=True)
class _Walk:
    """A record stepped through: where parts begin, how many points are in use, which cells said so."""

    starts: dict[tuple[PartRole, int], tuple[RecordPart, int]]
    counts: list[int]
    counted_by: dict[int, Cells]


def nominal(layout: Layout) -> Placement:
    """Positions with the largest number of points everywhere, whatever an image holds."""
    placement: Placement | None = layout.cache.get("nominal")
    if placement is None:
        placement = layout.cache["nominal"] = _Placer(None, layout).placement()
    return placement


class _Placer:
    def __init__(self, image: Image | None, layout: Layout) -> None:
        self.image, self.layout, self.base = image, layout, layout.address_base
        self.read_counts: list[Cells] = []
        self.axes: dict[str, PlacedAxis] = {}
        self.axis_reasons: dict[str, str] = {}

    def placement(self) -> Placement:
        for axis in self.layout.axes:
            try:
                self.axes[axis.name] = self.table(axis)
            except BadInput as problem:
                self.axis_reasons[axis.name] = problem.sentence
        maps, reasons = [], []
        for index, definition in enumerate(self.layout.maps):
            try:
                maps.append(self.map(index, definition))
            except BadInput as problem:
                reasons.append((definition.name, problem.sentence))
        spans, payload = (self.image.spans, self.image.payload) if self.image else ((), b"")
        counts = Gather.of(self.read_counts, spans)
        expected = tuple(counts.read(payload))
        return Placement(spans, tuple(maps), self.axes, tuple(reasons), counts, expected)

    def table(self, axis: AxisDefinition) -> PlacedAxis:
        """A breakpoint table with an address of its own."""
        if axis.record is None:
            cells = self.line(axis.address, axis.count, axis.data_type, axis.byte_order, axis.descending)
            return PlacedAxis(axis, axis.count, cells, descending=axis.descending)
        walk = self.walk(axis.record, axis.address, axis.byte_order, [axis.count, 0], [axis.count, 0])
        return self.in_record(axis, 0, walk)

    def map(self, index: int, definition: MapDefinition) -> PlacedMap:
        outer = [self.outer_axis(axis) for axis in definition.axes]
        widest = _two([axis.count for axis in definition.axes] or list(definition.size))
        in_use = _two([a.count if a else w for a, w in zip(outer, widest, strict=False)] or widest)
        address, record, counted_by = definition.address, definition.record, dict[int, Cells]()
        strides = in_use
        axes = [axis for axis in outer if axis]
        if record is not None:
            walk = self.walk(record, address, definition.byte_order, widest, in_use)
            axes = [self.inner_axis(a, definition.axes[k], k, walk) for k, a in enumerate(outer)]
            in_use = _two([axis.count for axis in axes] or walk.counts[:2])
            strides = [max(a, b) for a, b in zip(widest, in_use, strict=True)] if record.static == "cells" else in_use
            address, counted_by = walk.starts["values", 0][1], walk.counted_by
        if len(axes) != len(definition.axes):
            raise BadInput(f"The map {definition.name!r} has an axis in its record, but no record.")
        values = self.values(definition, address, in_use, strides, [axis.descending for axis in axes])
        return PlacedMap(index, definition, values, tuple(axes), tuple(counted_by.values()))

    def outer_axis(self, axis: AxisDefinition) -> PlacedAxis | None:
        """An axis that does not lie in the map's record; None for one that does."""
        if axis.place == "in record":
            return None
        if axis.place == "fixed":
            return PlacedAxis(axis, len(axis.values))
        if axis.place == "stored":
            return self.table(axis)
        table = self.axes.get(axis.shared)
        if table is None:
            reason = self.axis_reasons.get(axis.shared, "the layout has no such axis")
            raise BadInput(f"Its shared axis {axis.shared!r} cannot be read: {reason}")
        return PlacedAxis(axis, table.count, table.cells, table.counted_by, table.parameters, table.descending)

    def inner_axis(self, outer: PlacedAxis | None, axis: AxisDefinition, k: int, walk: _Walk) -> PlacedAxis:
        if outer is None:
            return self.in_record(axis, k, walk)
        if axis.place == "fixed" and k in walk.counted_by:
            return PlacedAxis(axis, walk.counts[k], counted_by=walk.counted_by[k])
        return outer

    def in_record(self, axis: AxisDefinition, k: int, walk: _Walk) -> PlacedAxis:
        count, counted_by = walk.counts[k], walk.counted_by.get(k)
        found = walk.starts.get(("axis", k))
        if found is not None:
            part, start = found
            cells = self.line(start, count, part.data_type, axis.byte_order, part.descending)
            return PlacedAxis(axis, count, cells, counted_by, descending=part.descending)
        parameters: list[tuple[PartRole, Cells]] = []
        roles: tuple[PartRole, ...] = ("offset", "distance", "shift", "rescale")
        for role in roles:
            if (role, k) in walk.starts:
                part, start = walk.starts[role, k]
                length = 2 * walk.counts[2 + k] if role == "rescale" else 1
                parameters.append((role, self.line(start, length, part.data_type, axis.byte_order, False)))
        if not parameters:
            raise BadInput(f"The record has no breakpoints for its axis {axis.name!r}.")
        return PlacedAxis(axis, count, None, counted_by, tuple(parameters))

    def walk(self, record: Record, address: int, byte_order: ByteOrder, limits: list[int], in_use: list[int]) -> _Walk:
        """Step through a record. Counts are [x, y, rescale pairs of x, of y]."""
        pairs = [part.pairs if (part := record.part("rescale", k)) else 0 for k in (0, 1)]
        widest = [*limits, *pairs]
        walk = _Walk({}, [*in_use, *pairs], {})
        at = address
        for k, part in enumerate(record.parts):
            if k:
                at = -(-at // part.alignment) * part.alignment
            walk.starts[part.role, part.axis] = part, at
            if part.role in ("count", "rescale count"):
                slot = part.axis + (2 if part.role == "rescale count" else 0)
                cells = self.line(at, 1, part.data_type, byte_order, False)
                walk.counts[slot] = self.count(cells, widest[slot])
                if part.role == "count":
                    walk.counted_by[part.axis] = cells
            at += _PART_CELLS[part.role](part, walk.counts if record.static == "packed" else widest) * part.itemsize
        return walk

    def count(self, cells: Cells, widest: int) -> int:
        """The number of points in use; never trusted beyond what the layout reserves."""
        if self.image is None:
            return widest
        data = self.image.read(cells.address, cells.itemsize)
        count = int.from_bytes(data, cells.byte_order, signed=cells.data_type.startswith("int"))
        self.read_counts.append(cells)
        if not 1 <= count <= widest:
            raise BadInput(
                f"The image says at 0x{cells.address:X} that {count} points are in use, the layout allows "
                f"1 to {widest}."
            )
        return count

    def line(self, address: int, count: int, data_type: DataType, byte_order: ByteOrder, descending: bool) -> Cells:
        size = storage(data_type).itemsize
        first, step = (address + (count - 1) * size, -size) if descending else (address, size)
        return self.held(Cells(first + self.base, data_type, byte_order, 1, count, 0, step, (count,)))

    def values(
        self,
        definition: MapDefinition,
        address: int,
        counts: list[int],
        strides: list[int],
        flips: list[bool],
    ) -> Cells:
        size = storage(definition.data_type).itemsize
        (nx, ny), (wide, high) = counts, strides
        flip_x, flip_y = [*flips, False, False][:2]
        x_step, y_step = (size, wide * size) if definition.order == "rows" else (high * size, size)
        first = address + self.base
        if flip_x:
            first, x_step = first + (nx - 1) * x_step, -x_step
        if flip_y:
            first, y_step = first + (ny - 1) * y_step, -y_step
        shape = tuple(reversed((nx, ny)[: len(definition.shape)]))
        return self.held(Cells(first, definition.data_type, definition.byte_order, ny, nx, y_step, x_step, shape))

    def held(self, cells: Cells) -> Cells:
        low, high = cells.hull
        if self.image is not None and not self.image.covers(low, high - low):
            raise BadInput(f"The image does not hold all of 0x{low:X} to 0x{high - 1:X}.")
        return cells


_PART_CELLS: dict[PartRole, Callable[[RecordPart, list[int]], int]] = {
    "values": lambda part, counts: counts[0] * counts[1],
    "axis": lambda part, counts: counts[part.axis],
    "rescale": lambda part, counts: 2 * counts[2 + part.axis],
    "count": lambda part, counts: 1,
    "rescale count": lambda part, counts: 1,
    "offset": lambda part, counts: 1,
    "distance": lambda part, counts: 1,
    "shift": lambda part, counts: 1,
    "reserved": lambda part, counts: 1,
}


def _two(counts: list[int]) -> list[int]:
    return [*counts, 1, 1][:2]
