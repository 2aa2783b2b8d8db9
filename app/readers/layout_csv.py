"""A layout from a table of addresses: our own CSV form for people who have a list of maps and no description file.

One line is one map, one range of a block checksum, one volatile range, or the layout's own name. Columns are told by
their headings, in any order; what a line does not need stays empty. Spreadsheet habits are accepted: semicolon, tab
or comma between cells, decimal comma, a leading byte order mark, a "sep=" line. Lines that begin with # are comments.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from app.calc.calibration.category import categorise
from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.datatype import ByteOrder
from app.calc.calibration.layout import (
    CATEGORIES,
    AxisDefinition,
    Layout,
    MapDefinition,
    MapKind,
    VolatileRange,
)
from app.calc.calibration.layout_check import Checker, check_layout
from app.calc.calibration.scaling import Scaling
from app.calc.number_text import counted
from app.errors import BadInput
from app.readers.layout_csv_cells import BYTE_ORDERS, COLUMNS, DATA_TYPES, ORDERS, Row, rows_of

_WHAT = ("map", "checksum", "volatile", "layout")
_UNNAMED = "layout from a table"


@dataclass(slots=True)
class _Found:
    name: str = _UNNAMED
    software_number: str | None = None
    address_base: int = 0
    maps: dict[str, MapDefinition] = field(default_factory=dict)
    checksums: dict[str, ChecksumDefinition] = field(default_factory=dict)
    volatile: list[VolatileRange] = field(default_factory=list)


def read_layout_csv(data: bytes) -> Layout:
    """Read our CSV form (`layout_csv_template` has every column); BadInput names line, column and what is allowed."""
    found = _Found()
    add: dict[str, Callable[[Row, _Found], None]] = {
        "map": _map,
        "checksum": _checksum,
        "volatile": _volatile,
        "layout": _layout,
    }
    for row in rows_of(data):
        add[row.choice("what", {w: w for w in _WHAT}, "map")](row, found)
    layout = Layout(
        name=found.name,
        software_number=found.software_number,
        maps=tuple(found.maps.values()),
        checksums=tuple(found.checksums.values()),
        volatile=tuple(found.volatile),
        address_base=found.address_base,
    )
    if not (layout.maps or layout.checksums or layout.volatile):
        raise BadInput("The table has headings but no maps, checksums or volatile ranges.", where="line 2")
    check_layout(layout)
    return layout


def _layout(row: Row, found: _Found) -> None:
    if found.name is not _UNNAMED:
        raise row.bad("what", "The table has two lines for the layout itself; keep one.")
    found.name = row.required("name")
    found.software_number = row.text("software number") or None
    found.address_base = row.address("address base", 0, signed=True)


def _map(row: Row, found: _Found) -> None:
    name = row.required("name")
    if name in found.maps:
        raise row.bad("name", f"The map {name!r} stands in the table twice.")
    data_type, text = row.data_type("data type", "uint8")
    columns, rows = row.count("columns"), row.count("rows")
    order = row.choice("byte order", BYTE_ORDERS, "big")
    x, y = _axis(row, "x axis", columns, order), _axis(row, "y axis", rows, order)
    if x is None and y is not None:
        raise row.bad("y axis points", "A map with a y axis needs an x axis too; a curve has an x axis only.")
    axes = tuple(axis for axis in (x, y) if axis is not None)
    kind = _kind(row, text, axes, columns, rows)
    size: tuple[int, ...] = ()
    if kind in ("block", "text"):
        size = (columns or 1, rows) if rows and (rows > 1 or not columns) and kind == "block" else (columns or 1,)
    description = row.text("description")
    definition = MapDefinition(
        name=name,
        kind=kind,
        address=row.address("address"),
        category=row.choice("category", {c: c for c in CATEGORIES}, categorise(name, description)),
        description=description,
        scaling=row.scaling(""),
        axes=axes,
        data_type=data_type,
        byte_order=order,
        size=size,
        order=row.choice("order", ORDERS, "rows"),
        decimals=row.whole("decimals", 0, 15),
    )
    try:
        Checker({}).map(definition)
    except BadInput as problem:
        raise row.bad("name", problem.sentence) from problem
    found.maps[name] = definition


def _kind(row: Row, text: bool, axes: tuple[AxisDefinition, ...], columns: int | None, rows: int | None) -> MapKind:
    if text:
        if axes or rows not in (None, 1):
            raise row.bad("data type", "A text has a length in columns, but no rows and no axes.")
        return "text"
    if len(axes) == 1:
        if rows not in (None, 1):
            raise row.bad("rows", "A map of several rows needs a y axis: its points at an address, or its values.")
        return "curve"
    if axes:
        return "map"
    return "value" if (columns or 1) * (rows or 1) == 1 else "block"


def _axis(row: Row, which: str, cells: int | None, order: ByteOrder) -> AxisDefinition | None:
    """The axis in the columns that begin with `which`; None when they are empty."""
    values = row.numbers(f"{which} values")
    address = row.address(f"{which} address", None)
    if values is None and address is None:
        for column in COLUMNS:
            if column.startswith(which) and row.text(column):
                raise row.bad(column, f"The {which} needs an address or values.")
        return None
    if values is not None and address is not None:
        raise row.bad(f"{which} values", f"The {which} has both an address and values; give one of them.")
    stated = row.count(f"{which} points")
    count = len(values) if values is not None else stated or cells
    if count is None:
        raise row.bad(f"{which} points", f"The {which} needs its number of points.")
    across = "columns" if which == "x axis" else "rows"
    for column, number in ((f"{which} points", stated), (across, cells)):
        if number is not None and number != count:
            raise row.bad(column, f"The {which} has {counted(count, 'point')}, this says {number}.")
    name = row.text(f"{which} name") or which
    if values is not None:
        return AxisDefinition(name, "fixed", count, Scaling(unit=row.text(f"{which} unit")), values=values)
    data_type, text = row.data_type(f"{which} data type", "uint8")
    if text:
        raise row.bad(f"{which} data type", f"An axis cannot be text; allowed are {', '.join(DATA_TYPES)}.")
    return AxisDefinition(
        name, "stored", count, row.scaling(f"{which} "), address=address or 0, data_type=data_type, byte_order=order
    )


def _checksum(row: Row, found: _Found) -> None:
    name = row.required("name")
    start, end = row.range()
    before = found.checksums.get(name)
    algorithm = row.text("algorithm") or (before.algorithm if before else "")
    if not algorithm:
        raise row.bad("algorithm", 'A checksum needs its algorithm, such as "CRC-32/ISO-HDLC" or "SUM-16/8-BIT".')
    stored_at = row.address("stored at", before.stored_at if before else None)
    if stored_at is None:
        raise row.bad("stored at", "A checksum needs the address where it is stored.")
    order = row.choice("byte order", BYTE_ORDERS, before.byte_order if before else "big")
    if before and (algorithm, stored_at, order) != (before.algorithm, before.stored_at, before.byte_order):
        raise row.bad("name", f"The checksum {name!r} is described differently on an earlier line.")
    ranges = (*(before.ranges if before else ()), (start, end))
    try:
        found.checksums[name] = ChecksumDefinition(name, algorithm, ranges, stored_at, order)
    except BadInput as problem:
        raise row.bad("algorithm", problem.sentence) from problem


def _volatile(row: Row, found: _Found) -> None:
    start, end = row.range()
    reason = row.text("description") or row.text("name")
    if not reason:
        raise row.bad("description", "A volatile range needs a reason, such as learned values.")
    found.volatile.append(VolatileRange(start, end, reason))


_EXAMPLES: tuple[dict[str, str], ...] = (
    {"what": "layout", "name": "Example unit 1", "software number": "SW-0000", "address base": "0x0"},
    {
        "what": "map", "name": "spark advance", "category": "ignition", "description": "basic angle",
        "address": "0x8120", "columns": "8", "rows": "6", "data type": "int8", "unit": "deg", "factor": "0.75",
        "offset": "0", "decimals": "1", "x axis name": "engine speed", "x axis unit": "1/min",
        "x axis address": "0x8100", "x axis data type": "uint16", "x axis factor": "0.25", "x axis offset": "0",
        "y axis name": "load", "y axis unit": "%", "y axis values": "10 20 40 60 80 100",
    },
    {
        "what": "map", "name": "speed limit", "category": "limiter", "address": "0x8200", "data type": "uint16",
        "byte order": "little", "unit": "km/h", "factor": "0.01",
    },
    {
        "what": "checksum", "name": "calibration block", "address": "0x8000", "last address": "0x8FFB",
        "algorithm": "CRC-32/ISO-HDLC", "stored at": "0x8FFC",
    },
    {"what": "volatile", "description": "learned values", "address": "0x9000", "last address": "0x90FF"},
)  # fmt: skip

_HELP = (
    "Lines that begin with # are ignored. Write addresses in hexadecimal with 0x in front.",
    "what is map, checksum, volatile or layout; an empty cell means map.",
    "physical value = factor * stored number + offset. Values of a fixed axis are written with spaces between them.",
    "A checksum over several ranges takes one line for each range, with the same name.",
    f"category is one of {' / '.join(CATEGORIES)}.",
    f"data type is one of {' / '.join(DATA_TYPES)} / text. byte order is big (high byte first) or little.",
    "Examples:",
)


def layout_csv_template() -> bytes:
    """An empty table with every heading, and comments that explain it; `read_layout_csv` takes it once filled in."""
    lines = [",".join(COLUMNS)]
    lines += [f"# {line.replace(',', ';')}" for line in _HELP]
    lines += ["# " + ",".join(example.get(column, "") for column in COLUMNS) for example in _EXAMPLES]
    return ("\ufeff" + "\r\n".join(lines) + "\r\n").encode("utf-8")
