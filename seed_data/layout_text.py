"""A list of addresses in the plain table form for layouts, for a software version without a description file."""

import csv
import io

from seed_data.software import Software
from seed_data.tables import CELL_BYTES, Axis, Table, cells_offset

_AXIS = ("name", "unit", "address", "points", "data type", "factor", "offset")
_COLUMNS = (
    "what", "name", "category", "description", "address", "last address", "columns", "rows", "data type", "byte order",
    "unit", "factor", "offset", "decimals", *(f"x axis {a}" for a in _AXIS), *(f"y axis {a}" for a in _AXIS),
    "algorithm", "stored at", "software number", "address base",
)  # fmt: skip
_TYPES = {"u8": "uint8", "s8": "int8", "u16": "uint16", "s16": "int16", "u32": "uint32", "s32": "int32"}


def layout_csv(software: Software) -> bytes:
    """One line for the layout, one for each table, block checksum and volatile range."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, _COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    number = software.software_number
    writer.writerow({"what": "layout", "name": number, "software number": number, "address base": "0x0"})
    for table in software.tables:
        writer.writerow(_table(software, table))
    for block in software.sums:
        writer.writerow(
            {
                "what": "checksum",
                "name": block.name,
                "address": _hex(software.base + block.start),
                "last address": _hex(software.base + block.end - 1),
                "byte order": software.order,
                "algorithm": block.algorithm,
                "stored at": _hex(software.base + block.stored_at),
            }
        )
    start, end = software.adaptation
    reason = "learned values, rewritten by the control unit while it runs"
    first, last = _hex(software.base + start), _hex(software.base + end - 1)
    writer.writerow({"what": "volatile", "description": reason, "address": first, "last address": last})
    return text.getvalue().encode("utf-8-sig")


def _table(software: Software, table: Table) -> dict[str, str]:
    at = software.base + software.places[table.name]
    row = {
        "what": "map",
        "name": table.name,
        "category": table.category,
        "description": table.text,
        "address": _hex(at + cells_offset(table)),
        "data type": _TYPES[table.scale.cell],
        "byte order": software.order,
        "unit": table.scale.unit,
        "factor": f"{table.scale.factor:.10g}",
        "offset": f"{table.scale.offset:.10g}",
        "decimals": str(table.scale.decimals),
    }
    own = [axis for axis in (table.x, table.y) if axis is not None and not axis.shared]
    place = at + 2 * len(own)
    for which, across, axis in (("x axis", "columns", table.x), ("y axis", "rows", table.y)):
        if axis is None:
            continue
        row[across] = str(len(axis.points))
        row |= _axis(which, axis, software.base + software.places[axis.name] + 2 if axis.shared else place)
        if not axis.shared:
            place += len(axis.points) * CELL_BYTES[axis.scale.cell]
    return row


def _axis(which: str, axis: Axis, at: int) -> dict[str, str]:
    scale = axis.scale
    cells = (axis.text, scale.unit, _hex(at), str(len(axis.points)), _TYPES[scale.cell], f"{scale.factor:.10g}", "0")
    return {f"{which} {name}": cell for name, cell in zip(_AXIS, cells, strict=True)}


def _hex(address: int) -> str:
    return f"0x{address:X}"
