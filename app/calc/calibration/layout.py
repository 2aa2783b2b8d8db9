"""Layouts: where the maps of one software version lie in an image and what their numbers mean.

A map that is one block of numbers with breakpoints at addresses of their own is written like this:

>>> from app.calc.calibration.scaling import Scaling
>>> rpm = Scaling.linear(0.25, unit="1/min")
>>> speed = AxisDefinition("engine speed", count=8, address=0x8100, data_type="uint16", scaling=rpm)
>>> load = AxisDefinition("load", count=6, address=0x8110, scaling=Scaling.linear(0.5, unit="%"))
>>> spark = MapDefinition("spark advance", "map", 0x8120, "ignition", data_type="int8",
...                       scaling=Scaling.linear(0.75, unit="deg"), axes=(speed, load))
>>> spark.shape
(6, 8)
>>> Layout("first", maps=(spark,)).map("spark advance").category
'ignition'
"""

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal, get_args

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.datatype import ByteOrder, DataType, storage
from app.calc.calibration.record_layout import Record
from app.calc.calibration.scaling import Scaling
from app.errors import BadInput

MapKind = Literal["value", "curve", "map", "block", "text"]
Category = Literal["fuel", "ignition", "boost", "torque", "limiter", "driver demand", "transmission", "other"]
AxisPlace = Literal["stored", "shared", "fixed", "in record"]
CellOrder = Literal["rows", "columns"]

MAP_KINDS: tuple[MapKind, ...] = get_args(MapKind)
CATEGORIES: tuple[Category, ...] = get_args(Category)
AXIS_PLACES: tuple[AxisPlace, ...] = get_args(AxisPlace)
CELL_ORDERS: tuple[CellOrder, ...] = get_args(CellOrder)

IDENTICAL = Scaling()


@dataclass(frozen=True, slots=True)
class AxisDefinition:
    """One axis of a map, or a breakpoint table shared by several maps (then in `Layout.axes`).

    Parameters
    ----------
    name : the quantity along the axis, for people; for a shared table also the name that maps refer to.
    place : "stored" at `address`; "shared" is the table named `shared`; "fixed" are `values`, nothing stored;
        "in record" is a part of the map's own record.
    count : number of points; the largest number when the record stores how many are in use.
    values : raw values of a fixed axis; the scaling applies to them.
    descending : stored from the highest breakpoint to the lowest.
    differences : each stored number but the first is the step from the one before.
    record : layout of a stored table whose count, or more, is stored with it.
    """

    name: str = ""
    place: AxisPlace = "stored"
    count: int = 0
    scaling: Scaling = IDENTICAL
    address: int = 0
    data_type: DataType = "uint8"
    byte_order: ByteOrder = "big"
    shared: str = ""
    values: tuple[float, ...] = ()
    descending: bool = False
    differences: bool = False
    record: Record | None = None

    @classmethod
    def fixed(cls, name: str, values: tuple[float, ...], *, unit: str = "") -> "AxisDefinition":
        """Breakpoints that are not stored in the image."""
        return cls(name, "fixed", len(values), Scaling(unit=unit), values=values)


@dataclass(frozen=True, slots=True)
class MapDefinition:
    """A named table of numbers in an image.

    Parameters
    ----------
    kind : "value" one number; "curve" over one axis; "map" over two; "block" an array without axes; "text".
    address : of the first cell, or of the record when `record` is given.
    axes : x, then y. For "map", a row belongs to one y, a column to one x.
    size : (columns,) or (columns, rows) of a block; (length,) of a text. Empty for the other kinds.
    order : "rows" – the cells of one row follow each other; "columns" – the cells of one column do.
    bit_mask : only these bits of the cell count; 0 for all.
    decimals : places people usually read; None takes the scaling's.
    lower, upper : physical limits the layout's author gave, or None.
    """

    name: str
    kind: MapKind
    address: int
    category: Category = "other"
    description: str = ""
    scaling: Scaling = IDENTICAL
    axes: tuple[AxisDefinition, ...] = ()
    data_type: DataType = "uint8"
    byte_order: ByteOrder = "big"
    size: tuple[int, ...] = ()
    order: CellOrder = "rows"
    bit_mask: int = 0
    decimals: int | None = None
    lower: float | None = None
    upper: float | None = None
    record: Record | None = None

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the decoded array at its largest: () | (columns,) | (rows, columns)."""
        if self.axes:
            return tuple(axis.count for axis in reversed(self.axes))
        return tuple(reversed(self.size))

    @property
    def raw_limits(self) -> tuple[float, float]:
        """Smallest and largest number a cell can hold."""
        if self.bit_mask:
            return 0, self.bit_mask >> bit_shift(self.bit_mask)
        store = storage(self.data_type)
        return store.minimum, store.maximum


def bit_shift(mask: int) -> int:
    """Number of unused low bits under a mask.

    >>> bit_shift(0x70)
    4
    """
    return (mask & -mask).bit_length() - 1


@dataclass(frozen=True, slots=True)
class VolatileRange:
    """Addresses from `start` up to but without `end` that a control unit rewrites by itself, and why."""

    start: int
    end: int
    reason: str


@dataclass(frozen=True)
class Layout:
    """The maps, shared axes, block checksums and volatile ranges of one software version.

    `address_base` is added to every address in here to get the address in the image, so that a layout
    written in the control unit's addresses fits an image that begins at 0. `cache` belongs to the decoder and
    is no part of the value.
    """

    name: str
    software_number: str | None = None
    maps: tuple[MapDefinition, ...] = ()
    axes: tuple[AxisDefinition, ...] = ()
    checksums: tuple[ChecksumDefinition, ...] = ()
    volatile: tuple[VolatileRange, ...] = ()
    address_base: int = 0
    cache: dict[Any, Any] = field(default_factory=dict, init=False, compare=False, repr=False)

    @cached_property
    def positions(self) -> dict[str, int]:
        """Index in `maps` by name."""
        return {definition.name: k for k, definition in enumerate(self.maps)}

    @cached_property
    def shared_axes(self) -> dict[str, AxisDefinition]:
        """Shared breakpoint tables by name."""
        return {axis.name: axis for axis in self.axes}

    def map(self, name: str) -> MapDefinition:
        """The map of this name; BadInput when there is none."""
        at = self.positions.get(name)
        if at is None:
            raise BadInput(f"The layout {self.name!r} has no map {name!r}.", field="name")
        return self.maps[at]

    @cached_property
    def checksums_in_image(self) -> tuple[ChecksumDefinition, ...]:
        """The block checksums with `address_base` applied."""
        base = self.address_base
        return tuple(
            replace(c, ranges=tuple((a + base, b + base) for a, b in c.ranges), stored_at=c.stored_at + base)
            for c in self.checksums
        )

    @cached_property
    def volatile_in_image(self) -> tuple[VolatileRange, ...]:
        """The volatile ranges with `address_base` applied."""
        base = self.address_base
        return tuple(VolatileRange(v.start + base, v.end + base, v.reason) for v in self.volatile)
