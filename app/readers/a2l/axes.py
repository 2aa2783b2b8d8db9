"""AXIS_PTS and AXIS_DESCR become axis definitions."""

import math
from dataclasses import replace

from app.calc.calibration.axis_points import evenly_spaced
from app.calc.calibration.datatype import ByteOrder
from app.calc.calibration.layout import AxisDefinition
from app.calc.calibration.scaling import Scaling
from app.calc.number_text import counted
from app.readers.a2l.common import deposit
from app.readers.a2l.context import Context
from app.readers.a2l.conversion import decimals_in
from app.readers.a2l.cursor import Cursor, Option
from app.readers.a2l.records import RecordLayout
from app.readers.a2l.source import Block
from app.readers.a2l.subset import NotDecoded

MOST_POINTS = 65_535
_AXIS_POINTS = {
    "BYTE_ORDER": 1, "CALIBRATION_ACCESS": 1, "DEPOSIT": 1, "DISPLAY_IDENTIFIER": 1, "ECU_ADDRESS_EXTENSION": 1,
    "EXTENDED_LIMITS": 2, "FORMAT": 1, "GUARD_RAILS": 0, "MAX_GRAD": 1, "MAX_REFRESH": 2, "MODEL_LINK": 1,
    "MONOTONY": 1, "PHYS_UNIT": 1, "READ_ONLY": 0, "REF_MEMORY_SEGMENT": 1, "STEP_SIZE": 1, "SYMBOL_LINK": 2,
}  # fmt: skip
_AXIS_POINTS_BLOCKS = ("ANNOTATION", "FUNCTION_LIST", "IF_DATA")
_DESCRIPTION = {
    "AXIS_PTS_REF": 1, "BYTE_ORDER": 1, "CURVE_AXIS_REF": 1, "DEPOSIT": 1, "EXTENDED_LIMITS": 2,
    "FIX_AXIS_PAR": 3, "FIX_AXIS_PAR_DIST": 3, "FORMAT": 1, "MAX_GRAD": 1, "MONOTONY": 1, "PHYS_UNIT": 1,
    "READ_ONLY": 0, "STEP_SIZE": 1,
}  # fmt: skip
_DESCRIPTION_BLOCKS = ("ANNOTATION", "FIX_AXIS_PAR_LIST", "FUNCTION_LIST")
_ATTRIBUTES = ("STD_AXIS", "FIX_AXIS", "COM_AXIS", "RES_AXIS", "CURVE_AXIS")


def read_axis_points(block: Block, context: Context) -> None:
    """One AXIS_PTS into `context`; one that is not decoded is kept with the reason."""
    cursor = Cursor(context.source, block)
    name = cursor.name("name")
    context.claim(name, cursor)
    context.axis_descriptions[name] = cursor.text("description")
    address = cursor.whole("address")
    cursor.next("input quantity")
    layout = context.record(cursor.name("record layout"), cursor)
    cursor.number("largest difference")
    conversion = cursor.at
    cursor.name("conversion")
    count = cursor.whole("number of points", 1, MOST_POINTS)
    cursor.number("lower limit")
    cursor.number("upper limit")
    options = by_keyword(cursor.options(_AXIS_POINTS, _AXIS_POINTS_BLOCKS, context.findings.skipped))
    note_extension(options, cursor, context)
    axis = AxisDefinition(
        name=name,
        count=layout.fixed_counts.get(0, count),
        address=address,
        byte_order=byte_order(options, cursor, context, context.common.byte_order),
        differences=differences(options, cursor, context),
    )
    try:
        axis = replace(axis, scaling=scaling(conversion, options, cursor, context))
        context.axis_points[name] = _with_record(axis, layout)
        context.axis_records[name] = layout
    except NotDecoded as problem:
        context.axis_reasons[name] = str(problem)


def _with_record(axis: AxisDefinition, layout: RecordLayout) -> AxisDefinition:
    if layout.reason:
        raise NotDecoded(layout.reason)
    if not layout.needs("axis", 0):
        raise NotDecoded("its record has no breakpoints")
    part = layout.record.part("axis")
    if part is not None and layout.bare:
        return replace(axis, data_type=part.data_type, descending=part.descending)
    return replace(axis, record=layout.record, data_type=part.data_type if part else axis.data_type)


def read_axis_description(
    cursor: Cursor, k: int, layout: RecordLayout, order: ByteOrder, context: Context
) -> AxisDefinition:
    """The axis `k` (0 x, 1 y) of a map whose record is `layout`; NotDecoded when it lies outside the subset."""
    attribute = cursor.choice("kind of axis", _ATTRIBUTES)
    quantity = cursor.next("input quantity")
    conversion = cursor.at
    cursor.name("conversion")
    count = cursor.whole("number of points", 1, MOST_POINTS)
    cursor.number("lower limit")
    cursor.number("upper limit")
    options = by_keyword(cursor.options(_DESCRIPTION, _DESCRIPTION_BLOCKS, context.findings.skipped))
    axis = AxisDefinition(
        name=quantity if quantity != "NO_INPUT_QUANTITY" else "xy"[k],
        count=layout.fixed_counts.get(k, count),
        byte_order=byte_order(options, cursor, context, order),
        differences=differences(options, cursor, context),
    )
    if attribute in ("COM_AXIS", "RES_AXIS"):
        axis = _shared(axis, quantity, options, cursor, context)
    elif attribute == "CURVE_AXIS":
        axis = _over_curve(axis, options, cursor, context)
    elif attribute == "FIX_AXIS" and not layout.needs("axis", k):
        values = _fixed_values(options, cursor)
        if len(values) > count:
            raise cursor.bad(f"The axis lists {counted(len(values), 'point')}, but has at most {count}.")
        axis = replace(axis, place="fixed", values=values, count=len(values))
    else:
        if not layout.needs("axis", k):
            raise NotDecoded(f"its record has no breakpoints for the axis {axis.name}")
        axis = replace(axis, place="in record")
    if attribute == "CURVE_AXIS":
        return axis
    return replace(axis, scaling=scaling(conversion, options, cursor, context))


def _shared(
    axis: AxisDefinition, quantity: str, options: dict[str, Option], cursor: Cursor, context: Context
) -> AxisDefinition:
    if "AXIS_PTS_REF" not in options:
        raise cursor.bad("The axis needs AXIS_PTS_REF.", 0)
    name = cursor.go(options["AXIS_PTS_REF"]).name("name of an axis")
    if name in context.axis_reasons:
        raise NotDecoded(f"its axis {name} is not decoded: {context.axis_reasons[name]}")
    table = context.axis_points.get(name)
    if table is None:
        raise cursor.bad(f"AXIS_DESCR refers to an AXIS_PTS {name!r} that the file does not have.")
    context.used_axes.add(name)
    shown = quantity if quantity != "NO_INPUT_QUANTITY" else name
    return replace(
        axis, name=shown, place="shared", shared=name, count=table.count, differences=table.differences,
        data_type=table.data_type, byte_order=table.byte_order,
    )  # fmt: skip


def _over_curve(axis: AxisDefinition, options: dict[str, Option], cursor: Cursor, context: Context) -> AxisDefinition:
    """An axis whose position comes out of another curve: its points are that curve's positions 0, 1, 2, …"""
    if "CURVE_AXIS_REF" not in options:
        raise cursor.bad("The axis needs CURVE_AXIS_REF.", 0)
    name = cursor.go(options["CURVE_AXIS_REF"]).name("name of a curve")
    context.findings.curve_references.append((name, cursor, cursor.at - 1))
    values = tuple(float(i) for i in range(axis.count))
    return replace(axis, name=f"position from {name}", place="fixed", values=values)


def _fixed_values(options: dict[str, Option], cursor: Cursor) -> tuple[float, ...]:
    if "FIX_AXIS_PAR_LIST" in options:
        option = options["FIX_AXIS_PAR_LIST"]
        cursor.go(option)
        values = tuple(cursor.number("point") for _ in range(len(cursor.inner(option))))
        if not values or len(values) > MOST_POINTS:
            raise cursor.bad("FIX_AXIS_PAR_LIST lists no points or too many.", option.at)
        return values
    keyword = "FIX_AXIS_PAR_DIST" if "FIX_AXIS_PAR_DIST" in options else "FIX_AXIS_PAR"
    if keyword not in options:
        raise cursor.bad("The fixed axis needs FIX_AXIS_PAR, FIX_AXIS_PAR_DIST or FIX_AXIS_PAR_LIST.", 0)
    cursor.go(options[keyword])
    offset = cursor.number("offset")
    step = cursor.number("distance") if keyword == "FIX_AXIS_PAR_DIST" else 2.0 ** cursor.whole("shift", -32, 32)
    count = cursor.whole("number of points", 1, MOST_POINTS)
    values = tuple(evenly_spaced(offset, step, count).tolist())
    if not math.isfinite(values[-1]):
        raise cursor.bad(f"{keyword} gives breakpoints that are too large.", options[keyword].at)
    return values


def by_keyword(options: list[Option]) -> dict[str, Option]:
    """Options by keyword; of a keyword given twice the first counts."""
    found: dict[str, Option] = {}
    for option in options:
        found.setdefault(option.keyword, option)
    return found


def scaling(conversion: int, options: dict[str, Option], cursor: Cursor, context: Context) -> Scaling:
    """The scaling named by the word at `conversion`, with the item's own unit and format where it states them."""
    unit = cursor.go(options["PHYS_UNIT"]).text("unit") if "PHYS_UNIT" in options else None
    places = decimals_in(cursor.go(options["FORMAT"]).text("format")) if "FORMAT" in options else None
    cursor.at = conversion
    return context.conversions.get(cursor.name("conversion"), cursor, unit, places)


def byte_order(options: dict[str, Option], cursor: Cursor, context: Context, default: ByteOrder) -> ByteOrder:
    """The item's own byte order, else the one around it."""
    return context.orders.meaning(cursor.go(options["BYTE_ORDER"])) if "BYTE_ORDER" in options else default


def differences(options: dict[str, Option], cursor: Cursor, context: Context) -> bool:
    """True when the axis is stored as differences."""
    return deposit(cursor.go(options["DEPOSIT"])) if "DEPOSIT" in options else context.common.differences


def note_extension(options: dict[str, Option], cursor: Cursor, context: Context) -> None:
    """Ask about items that name a second address space."""
    if "ECU_ADDRESS_EXTENSION" in options:
        extension = cursor.go(options["ECU_ADDRESS_EXTENSION"]).whole("address extension", -0x8000_0000)
        if extension:
            context.ask(
                "Some items have an address extension, which says that they lie in another memory; "
                "check one of them against a known value."
            )
