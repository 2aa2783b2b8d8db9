"""How the parts of one stored record follow each other: counts, breakpoints, values.

A record is needed when positions depend on how many points are in use. A map whose values and breakpoints
each have an address of their own needs none.
"""

from dataclasses import dataclass
from typing import Literal, get_args

from app.calc.calibration.datatype import DataType, storage

PartRole = Literal["values", "axis", "count", "offset", "distance", "shift", "rescale", "rescale count", "reserved"]
PART_ROLES: tuple[PartRole, ...] = get_args(PartRole)

StaticKind = Literal["packed", "parts", "cells"]
STATIC_KINDS: tuple[StaticKind, ...] = get_args(StaticKind)


@dataclass(frozen=True, slots=True)
class RecordPart:
    """One part of a record, in the order of memory.

    Parameters
    ----------
    role : "axis" breakpoints; "count" how many of them are in use; "offset", "distance", "shift" the
        parameters of evenly spaced breakpoints; "rescale" pairs of breakpoint and position; "reserved" is
        stepped over.
    data_type : of one cell.
    axis : 0 for x, 1 for y.
    alignment : the part begins at the next address that is a multiple of this; the first part stays at the
        record's address.
    descending : stored from the highest breakpoint to the lowest; values follow the same order.
    pairs : largest number of rescale pairs.
    """

    role: PartRole
    data_type: DataType
    axis: int = 0
    alignment: int = 1
    descending: bool = False
    pairs: int = 0

    @property
    def itemsize(self) -> int:
        """Bytes of one cell."""
        return storage(self.data_type).itemsize


@dataclass(frozen=True, slots=True)
class Record:
    """Parts in memory order.

    static : "packed" – parts follow each other by the points in use; "parts" – every part stays where it is
        with the largest number of points, its cells packed; "cells" – rows of a map keep their distance too.
    """

    name: str
    parts: tuple[RecordPart, ...]
    static: StaticKind = "packed"

    def part(self, role: PartRole, axis: int = 0) -> RecordPart | None:
        """The part with this role for this axis, or None."""
        for part in self.parts:
            if part.role == role and (part.axis == axis or role == "values"):
                return part
        return None
