"""What every layout must keep to, said as sentences. Readers and editing functions run these checks."""

from math import isfinite, prod

from app.calc.calibration.datatype import BYTE_ORDERS, storage
from app.calc.calibration.layout import (
    AXIS_PLACES,
    CATEGORIES,
    CELL_ORDERS,
    MAP_KINDS,
    AxisDefinition,
    Layout,
    MapDefinition,
)
from app.calc.calibration.record_layout import PART_ROLES, STATIC_KINDS, Record
from app.calc.calibration.scaling import Scaling, check_scaling
from app.calc.number_text import counted
from app.errors import BadInput

HIGHEST_ADDRESS = 0xFFFF_FFFF_FFFF
MOST_POINTS = 65_535
MOST_CELLS = 1 << 24
_AXES = {"value": 0, "curve": 1, "map": 2, "block": 0, "text": 0}
_SIZES = {"value": (0,), "curve": (0,), "map": (0,), "block": (1, 2), "text": (1,)}
_ALIGNMENTS = (1, 2, 4, 8, 16)


def check_layout(layout: Layout) -> None:
    """Raise BadInput with a sentence when the layout contradicts itself."""
    if not layout.name:
        raise BadInput("The layout needs a name.", field="name")
    if not -HIGHEST_ADDRESS <= layout.address_base <= HIGHEST_ADDRESS:
        raise BadInput("The address base is beyond 48 bits.", field="address_base")
    _unique("shared axis", [axis.name for axis in layout.axes])
    _unique("map", [definition.name for definition in layout.maps])
    _unique("checksum", [checksum.name for checksum in layout.checksums])
    checker = Checker(layout.shared_axes)
    for axis in layout.axes:
        checker.shared_table(axis)
    for definition in layout.maps:
        checker.map(definition)
    for volatile in layout.volatile:
        if not 0 <= volatile.start < volatile.end <= HIGHEST_ADDRESS:
            raise BadInput(
                f"The volatile range 0x{volatile.start:X} to 0x{volatile.end:X} is empty or beyond 48 bits.",
                field="volatile",
            )


def _unique(what: str, names: list[str]) -> None:
    if len(set(names)) == len(names):
        return
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise BadInput(f"The {what} {name!r} is defined twice.", field="name")
        seen.add(name)


class Checker:
    """Checks maps one by one; conversions and records that many maps share are checked once."""

    def __init__(self, shared_axes: dict[str, AxisDefinition]) -> None:
        self.shared_axes = shared_axes
        self.checked: dict[int, Scaling | Record] = {}

    def shared_table(self, axis: AxisDefinition) -> None:
        """A table in `Layout.axes`."""
        if not axis.name:
            raise BadInput("A shared axis needs a name.", field="name")
        if axis.place != "stored":
            raise BadInput(f"The shared axis {axis.name!r} must be stored at an address.", field="place")
        self.axis(axis, f"The shared axis {axis.name!r}", None)

    def map(self, definition: MapDefinition) -> None:
        """One map with its axes."""
        d, whose = definition, f"The map {definition.name!r}"
        if not d.name:
            raise BadInput("A map needs a name.", field="name")
        for field, value, allowed in (
            ("kind", d.kind, MAP_KINDS),
            ("category", d.category, CATEGORIES),
            ("byte_order", d.byte_order, BYTE_ORDERS),
            ("order", d.order, CELL_ORDERS),
        ):
            if value not in allowed:
                raise BadInput(f"{whose} has the {field} {value!r}; allowed are {', '.join(allowed)}.", field=field)
        if len(d.axes) != _AXES[d.kind]:
            raise BadInput(
                f"{whose} is a {d.kind} and needs {counted(_AXES[d.kind], 'axis', 'axes')}, not {len(d.axes)}.",
                field="axes",
            )
        if len(d.size) not in _SIZES[d.kind] or not all(1 <= n <= MOST_POINTS * 16 for n in d.size):
            raise BadInput(f"{whose} is a {d.kind} and cannot have the size {d.size}.", field="size")
        self._cells(d, whose)
        self._scaling(d.scaling)
        for axis in d.axes:
            self.axis(axis, f"{whose}, axis {axis.name!r},", d.record)
        if d.record is not None:
            self._record(d.record, whose)
            part = d.record.part("values")
            if part is None or part.data_type != d.data_type:
                raise BadInput(f"{whose} has a record whose values are not {d.data_type}.", field="record")

    def _cells(self, d: MapDefinition, whose: str) -> None:
        store = storage(d.data_type)
        if not 0 <= d.address <= HIGHEST_ADDRESS:
            raise BadInput(f"{whose} has an address beyond 48 bits.", field="address")
        if prod(d.shape) > MOST_CELLS:
            raise BadInput(f"{whose} has more cells than any image holds.", field="size")
        if d.kind == "text" and store.itemsize != 1:
            raise BadInput(f"{whose} is a text and needs cells of one byte.", field="data_type")
        widest = min(1 << 8 * store.itemsize, 1 << 63)
        if not 0 <= d.bit_mask < widest or (d.bit_mask and store.is_float):
            raise BadInput(f"{whose} has a bit mask that does not fit {d.data_type}.", field="bit_mask")
        if d.decimals is not None and not 0 <= d.decimals <= 15:
            raise BadInput(f"{whose} cannot be shown with {d.decimals} decimals.", field="decimals")

    def axis(self, axis: AxisDefinition, whose: str, record: Record | None) -> None:
        """One axis; `record` is its map's."""
        storage(axis.data_type)
        if axis.place not in AXIS_PLACES or axis.byte_order not in BYTE_ORDERS:
            raise BadInput(f"{whose} has the place {axis.place!r}, byte order {axis.byte_order!r}.", field="place")
        if not 1 <= axis.count <= MOST_POINTS:
            raise BadInput(f"{whose} has {axis.count} points; allowed are 1 to {MOST_POINTS}.", field="count")
        if not 0 <= axis.address <= HIGHEST_ADDRESS:
            raise BadInput(f"{whose} has an address beyond 48 bits.", field="address")
        if axis.place == "fixed" and (len(axis.values) != axis.count or not all(map(isfinite, axis.values))):
            raise BadInput(f"{whose} needs {counted(axis.count, 'finite value')}.", field="values")
        if axis.place == "shared" and axis.shared not in self.shared_axes:
            raise BadInput(f"{whose} refers to a shared axis {axis.shared!r} that the layout lacks.", field="shared")
        if axis.place == "in record" and record is None:
            raise BadInput(f"{whose} lies in the map's record, but the map has none.", field="record")
        self._scaling(axis.scaling)
        if axis.record is not None:
            self._record(axis.record, whose)

    def _scaling(self, scaling: Scaling) -> None:
        if id(scaling) not in self.checked:
            check_scaling(scaling)
            self.checked[id(scaling)] = scaling

    def _record(self, record: Record, whose: str) -> None:
        if id(record) in self.checked:
            return
        if record.static not in STATIC_KINDS or not record.parts:
            raise BadInput(f"{whose} has a record without parts or with the rule {record.static!r}.", field="record")
        for part in record.parts:
            store = storage(part.data_type)
            fits = part.role in PART_ROLES and part.alignment in _ALIGNMENTS and 0 <= part.axis <= 4
            whole = not (store.is_float and part.role in ("count", "rescale count"))
            if not fits or not whole or not 0 <= part.pairs <= MOST_POINTS + 1:
                raise BadInput(f"{whose} has a record with an impossible part {part.role!r}.", field="record")
            if part.axis > 1 and part.role != "reserved":
                raise BadInput(f"{whose} has a record with more than two axes.", field="record")
        self.checked[id(record)] = record
