"""Calibration tables in physical units, their raw cells and where they lie in an image."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

ByteOrder = Literal["big", "little"]
CELL_BYTES: Mapping[str, int] = {"u8": 1, "s8": 1, "u16": 2, "s16": 2, "u32": 4, "s32": 4}


@dataclass(frozen=True)
class Scale:
    """physical = factor · raw + offset, stored in cells of type `cell`."""

    name: str
    unit: str
    cell: str
    factor: float
    offset: float = 0.0
    decimals: int = 1

    @property
    def raw_range(self) -> tuple[int, int]:
        """Smallest and largest raw value of the cell type."""
        bits = 8 * CELL_BYTES[self.cell]
        return (0, (1 << bits) - 1) if self.cell[0] == "u" else (-(1 << (bits - 1)), (1 << (bits - 1)) - 1)

    @property
    def physical_range(self) -> tuple[float, float]:
        """Smallest and largest value that can be stored."""
        low, high = (self.factor * raw + self.offset for raw in self.raw_range)
        return min(low, high), max(low, high)

    def to_raw(self, value: float) -> int:
        """Nearest raw value, held at the ends of the cell's range."""
        low, high = self.raw_range
        return min(max(round((value - self.offset) / self.factor), low), high)

    def to_physical(self, raw: int) -> float:
        """The physical value of a raw cell."""
        return self.factor * raw + self.offset


@dataclass(frozen=True)
class Axis:
    """Breakpoints of a table; a shared axis is stored once and used by several tables."""

    name: str
    text: str
    scale: Scale
    points: tuple[float, ...]
    shared: bool = False


Fill = Callable[[float, float], float]


@dataclass(frozen=True)
class Table:
    """One calibration object: a value, a curve over `x` or a map over `x` (columns) and `y` (rows)."""

    name: str
    text: str
    category: str
    group: str
    scale: Scale
    fill: Fill
    x: Axis | None = None
    y: Axis | None = None

    @property
    def kind(self) -> str:
        """ "value", "curve" or "map"."""
        return "value" if self.x is None else "curve" if self.y is None else "map"


@dataclass
class Content:
    """What a table holds now, in physical units: rows over y, columns over x, and its own axis points."""

    cells: list[list[float]]
    x: list[float] = field(default_factory=list)
    y: list[float] = field(default_factory=list)


def stock_content(table: Table) -> Content:
    """The table as its fill function says."""
    x = list(table.x.points) if table.x else [0.0]
    y = list(table.y.points) if table.y else [0.0]
    cells = [[table.fill(at_x, at_y) for at_x in x] for at_y in y]
    return Content(cells, x if table.x else [], y if table.y else [])


def pack(values: Sequence[int], cell: str, order: ByteOrder) -> bytes:
    """Raw values as bytes."""
    size, signed = CELL_BYTES[cell], cell[0] == "s"
    return b"".join(value.to_bytes(size, order, signed=signed) for value in values)


def axis_bytes(axis: Axis, points: Sequence[float], order: ByteOrder) -> bytes:
    """The breakpoints without their count."""
    return pack([axis.scale.to_raw(point) for point in points], axis.scale.cell, order)


def shared_axis_record(axis: Axis, order: ByteOrder) -> bytes:
    """A shared axis as stored: the number of points as one 16-bit word, then the points."""
    return pack([len(axis.points)], "u16", order) + axis_bytes(axis, axis.points, order)


def table_record(table: Table, content: Content, order: ByteOrder) -> bytes:
    """A table as stored: counts and points of its own axes, then the cells row by row (x runs fastest)."""
    own = [(a, p) for a, p in ((table.x, content.x), (table.y, content.y)) if a is not None and not a.shared]
    parts = [pack([len(points)], "u16", order) for _, points in own]
    parts += [axis_bytes(axis, points, order) for axis, points in own]
    for row in content.cells:
        parts.append(pack([table.scale.to_raw(value) for value in row], table.scale.cell, order))
    return b"".join(parts)


def cells_offset(table: Table) -> int:
    """Bytes from the start of a table's record to its first cell."""
    own = [axis for axis in (table.x, table.y) if axis is not None and not axis.shared]
    return sum(2 + len(axis.points) * CELL_BYTES[axis.scale.cell] for axis in own)
