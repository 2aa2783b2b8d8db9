"""A description of a software version in the ASAM MCD-2 MC language (version 1.61), as a tool exports it."""

from collections.abc import Iterator

from seed_data.software import Software
from seed_data.tables import Axis, Scale, Table

_CELLS = {"u8": "UBYTE", "s8": "SBYTE", "u16": "UWORD", "s16": "SWORD", "u32": "ULONG", "s32": "SLONG"}
_ORDERS = {"big": "MSB_FIRST", "little": "MSB_LAST"}


def a2l(software: Software, project: str) -> bytes:
    """The whole file: shared axes, tables, conversions, record layouts, functions and groups."""
    lines = [
        "ASAP2_VERSION 1 61",
        f'/begin PROJECT {project} "Calibration data description"',
        f'  /begin HEADER "Exported for {software.software_number}"',
        '    VERSION "1"',
        "  /end HEADER",
        f'  /begin MODULE {project}_ENGINE "{software.software_number}"',
        *_module_heads(software),
        *_methods(software),
        *_record_layouts(software),
    ]
    for axis in software.shared_axes:
        lines += _axis(software, axis)
    for table in software.tables:
        lines += _characteristic(software, table)
    lines += _functions_and_groups(software)
    lines += ["  /end MODULE", "/end PROJECT", ""]
    return "\r\n".join(lines).encode("latin-1")


def _module_heads(software: Software) -> Iterator[str]:
    at = software.base + software.calibration
    size = software.calibration_end - software.calibration
    yield '    /begin MOD_PAR "Memory and identification"'
    yield f'      ADDR_EPK 0x{at:08X} EPK "{software.software_number}"'
    yield '      VERSION "1.0"'
    yield f'      /begin MEMORY_SEGMENT CALIBRATION "Tables" DATA FLASH INTERN 0x{at:08X} 0x{size:X} -1 -1 -1 -1 -1'
    yield "      /end MEMORY_SEGMENT"
    yield "    /end MOD_PAR"
    yield '    /begin MOD_COMMON "Byte order and alignment"'
    yield f"      BYTE_ORDER {_ORDERS[software.order]}"
    yield "      ALIGNMENT_BYTE 1 ALIGNMENT_WORD 1 ALIGNMENT_LONG 1"
    yield "    /end MOD_COMMON"


def _scales(software: Software) -> list[Scale]:
    found: dict[str, Scale] = {}
    for table in software.tables:
        found.setdefault(table.scale.name, table.scale)
        for axis in (table.x, table.y):
            if axis is not None:
                found.setdefault(axis.scale.name, axis.scale)
    return list(found.values())


def _method(scale: Scale) -> str:
    return f"CM_{scale.name}"


def _methods(software: Software) -> Iterator[str]:
    """RAT_FUNC gives raw = f(physical), LINEAR gives physical = f(raw): exporters use either."""
    for scale in _scales(software):
        shape = f'"%8.{scale.decimals}" "{scale.unit}"'
        if scale.offset == 0.0:
            inverse = 1.0 / scale.factor
            coefficients = f"RAT_FUNC {shape} COEFFS 0 {inverse:.10g} 0 0 0 1"
        else:
            coefficients = f"LINEAR {shape} COEFFS_LINEAR {scale.factor:.10g} {scale.offset:.10g}"
        yield f'    /begin COMPU_METHOD {_method(scale)} "" {coefficients} /end COMPU_METHOD'


def _own_axes(table: Table) -> list[tuple[str, Axis]]:
    """("X" or "Y", axis) of the axes that lie in the table's own record."""
    named = (("X", table.x), ("Y", table.y))
    return [(letter, axis) for letter, axis in named if axis is not None and not axis.shared]


def _layout_name(table: Table) -> str:
    """Record layouts are told apart by what is stored with the cells and in which types."""
    return "_".join(["RL", *(letter + axis.scale.cell for letter, axis in _own_axes(table)), table.scale.cell]).upper()


def _record_layouts(software: Software) -> Iterator[str]:
    layouts: dict[str, Table] = {}
    for table in software.tables:
        layouts.setdefault(_layout_name(table), table)
    for name, table in layouts.items():
        own = _own_axes(table)
        yield f"    /begin RECORD_LAYOUT {name}"
        for place, (letter, _) in enumerate(own, start=1):
            yield f"      NO_AXIS_PTS_{letter} {place} UWORD"
        for place, (letter, axis) in enumerate(own, start=len(own) + 1):
            yield f"      AXIS_PTS_{letter} {place} {_CELLS[axis.scale.cell]} INDEX_INCR DIRECT"
        yield f"      FNC_VALUES {2 * len(own) + 1} {_CELLS[table.scale.cell]} ROW_DIR DIRECT"
        yield "    /end RECORD_LAYOUT"
    for cell in sorted({axis.scale.cell for axis in software.shared_axes}):
        yield f"    /begin RECORD_LAYOUT RL_AXIS_{cell.upper()}"
        yield "      NO_AXIS_PTS_X 1 UWORD"
        yield f"      AXIS_PTS_X 2 {_CELLS[cell]} INDEX_INCR DIRECT"
        yield "    /end RECORD_LAYOUT"


def _limits(scale: Scale) -> str:
    low, high = scale.physical_range
    return f"{low:.10g} {high:.10g}"


def _axis(software: Software, axis: Axis) -> Iterator[str]:
    at = software.base + software.places[axis.name]
    yield f'    /begin AXIS_PTS {axis.name} "{axis.text}"'
    yield f"      0x{at:08X} NO_INPUT_QUANTITY RL_AXIS_{axis.scale.cell.upper()} 0"
    yield f"      {_method(axis.scale)} {len(axis.points)} {_limits(axis.scale)}"
    yield "    /end AXIS_PTS"


def _characteristic(software: Software, table: Table) -> Iterator[str]:
    at = software.base + software.places[table.name]
    yield f'    /begin CHARACTERISTIC {table.name} "{table.text}"'
    yield f"      {table.kind.upper()} 0x{at:08X} {_layout_name(table)} 0 {_method(table.scale)} {_limits(table.scale)}"
    for axis in (table.x, table.y):
        if axis is not None:
            kind = "COM_AXIS" if axis.shared else "STD_AXIS"
            size = f"{len(axis.points)} {_limits(axis.scale)}"
            yield f"      /begin AXIS_DESCR {kind} NO_INPUT_QUANTITY {_method(axis.scale)} {size}"
            if axis.shared:
                yield f"        AXIS_PTS_REF {axis.name}"
            yield "      /end AXIS_DESCR"
    yield "    /end CHARACTERISTIC"


def _functions_and_groups(software: Software) -> Iterator[str]:
    groups: dict[str, list[Table]] = {}
    for table in software.tables:
        groups.setdefault(table.group, []).append(table)
    for group, tables in groups.items():
        names = " ".join(table.name for table in tables)
        yield f'    /begin FUNCTION F_{group} "{group.replace("_", " ")}"'
        yield f"      /begin DEF_CHARACTERISTIC {names} /end DEF_CHARACTERISTIC"
        yield "    /end FUNCTION"
    categories: dict[str, list[Table]] = {}
    for table in software.tables:
        categories.setdefault(table.category, []).append(table)
    for category, tables in categories.items():
        names = " ".join(table.name for table in tables)
        yield f'    /begin GROUP {category.replace(" ", "_")} "{category}"'
        yield f"      ROOT /begin REF_CHARACTERISTIC {names} /end REF_CHARACTERISTIC"
        yield "    /end GROUP"
