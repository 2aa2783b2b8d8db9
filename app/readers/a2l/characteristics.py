"""CHARACTERISTIC becomes a map definition."""

from math import prod

from app.calc.calibration.category import categorise
from app.calc.calibration.layout import AxisDefinition, MapDefinition, MapKind
from app.calc.calibration.record_layout import RecordPart
from app.calc.number_text import counted
from app.readers.a2l.axes import (
    MOST_POINTS,
    by_keyword,
    byte_order,
    note_extension,
    read_axis_description,
    scaling,
)
from app.readers.a2l.context import Context
from app.readers.a2l.cursor import ALL_NUMBERS, Cursor, Option
from app.readers.a2l.records import RecordLayout
from app.readers.a2l.source import Block
from app.readers.a2l.subset import NotDecoded

_KINDS: dict[str, MapKind] = {"VALUE": "value", "CURVE": "curve", "MAP": "map", "VAL_BLK": "block", "ASCII": "text"}
_OTHER_KINDS = ("CUBOID", "CUBE_4", "CUBE_5")
_AXES = {"value": 0, "curve": 1, "map": 2, "block": 0, "text": 0}
_OPTIONS = {
    "BIT_MASK": 1, "BYTE_ORDER": 1, "CALIBRATION_ACCESS": 1, "COMPARISON_QUANTITY": 1, "DISCRETE": 0,
    "DISPLAY_IDENTIFIER": 1, "ECU_ADDRESS_EXTENSION": 1, "ENCODING": 1, "EXTENDED_LIMITS": 2, "FORMAT": 1,
    "GUARD_RAILS": 0, "MATRIX_DIM": ALL_NUMBERS, "MAX_REFRESH": 2, "MODEL_LINK": 1, "NUMBER": 1, "PHYS_UNIT": 1,
    "READ_ONLY": 0, "REF_MEMORY_SEGMENT": 1, "STEP_SIZE": 1, "SYMBOL_LINK": 2,
}  # fmt: skip
_BLOCKS = (
    "ANNOTATION", "AXIS_DESCR", "DEPENDENT_CHARACTERISTIC", "FUNCTION_LIST", "IF_DATA", "MAP_LIST",
    "VIRTUAL_CHARACTERISTIC",
)  # fmt: skip
_MOST_CELLS = 1 << 24


def read_characteristic(block: Block, context: Context) -> None:
    """One CHARACTERISTIC into `context.maps`, or with the reason into the list of those not decoded."""
    cursor = Cursor(context.source, block)
    name = cursor.name("name")
    context.claim(name, cursor)
    try:
        context.maps.append(_Reader(cursor, name, context).definition())
    except NotDecoded as problem:
        context.findings.not_decoded.append((name, str(problem)))


class _Reader:
    def __init__(self, cursor: Cursor, name: str, context: Context) -> None:
        self.cursor, self.name, self.context = cursor, name, context
        self.options: dict[str, Option] = {}

    def definition(self) -> MapDefinition:
        cursor, context = self.cursor, self.context
        description = cursor.text("description")
        kind_word = cursor.choice("kind", (*_KINDS, *_OTHER_KINDS))
        address = cursor.whole("address")
        layout = context.record(cursor.name("record layout"), cursor)
        cursor.number("largest difference")
        conversion = cursor.at
        cursor.name("conversion")
        lower, upper = cursor.number("lower limit"), cursor.number("upper limit")
        every = cursor.options(_OPTIONS, _BLOCKS, context.findings.skipped)
        self.options = by_keyword(every)
        note_extension(self.options, cursor, context)
        order = byte_order(self.options, cursor, context, context.common.byte_order)
        inner = [cursor.inside(o) for o in every if o.keyword == "AXIS_DESCR"]
        if kind_word not in _KINDS:
            raise NotDecoded(f"{kind_word} has more than two axes")
        kind = _KINDS[kind_word]
        if len(inner) != _AXES[kind]:
            raise cursor.bad(f"{kind_word} {self.name} needs {_AXES[kind]} AXIS_DESCR, it has {len(inner)}.", 0)
        size = self.size(kind, layout)
        axes = tuple(read_axis_description(c, k, layout, order, context) for k, c in enumerate(inner))
        values = self.values(layout, axes)
        found = scaling(conversion, self.options, cursor, context)
        category = categorise(self.name, description, context.groups.get(self.name, ()))
        return MapDefinition(
            self.name, kind, address, category, description, found, axes, values.data_type, order, size,
            layout.order, self.bit_mask(values.itemsize, values.data_type.startswith("float")), None,
            lower, upper, None if layout.bare else layout.record,
        )  # fmt: skip

    def values(self, layout: RecordLayout, axes: tuple[AxisDefinition, ...]) -> RecordPart:
        if layout.reason:
            raise NotDecoded(layout.reason)
        if "VIRTUAL_CHARACTERISTIC" in self.options:
            raise NotDecoded("it is virtual and not stored in the image")
        part = layout.values
        if part is None:
            raise NotDecoded(f"its record {layout.record.name} has no values")
        self.ask(layout, axes)
        return part

    def ask(self, layout: RecordLayout, axes: tuple[AxisDefinition, ...]) -> None:
        record, context = layout.record, self.context
        if record.static == "cells" and len(axes) == 2 and record.part("count"):
            context.ask(
                f"Maps with the record layout {record.name} keep every cell in place when fewer points are in use; "
                "check one of them against known values."
            )
        if layout.unstated_float64:
            context.ask(
                f"The file does not say how 8-byte floats are aligned; multiples of 8 are taken in the record layout "
                f"{record.name}, older files mean 4."
            )

    def size(self, kind: MapKind, layout: RecordLayout) -> tuple[int, ...]:
        """(columns,) or (columns, rows) of a block or text. Planes of a third dimension become further rows."""
        if kind not in ("block", "text"):
            return ()
        cursor, dimensions = self.cursor, []
        if "MATRIX_DIM" in self.options:
            option = self.options["MATRIX_DIM"]
            cursor.go(option)
            dimensions = [cursor.whole("dimension", 1, MOST_POINTS) for _ in range(option.end - option.at - 1)]
        number = (
            cursor.go(self.options["NUMBER"]).whole("number of values", 1, _MOST_CELLS)
            if "NUMBER" in self.options
            else None
        )
        if not dimensions and number is None:
            raise cursor.bad(f"{self.name} needs NUMBER or MATRIX_DIM.", 0)
        dimensions = dimensions or [number or 1]
        cells = prod(dimensions)
        if number is not None and number != cells:
            raise cursor.bad(
                f"{self.name} says NUMBER {number}, but its MATRIX_DIM gives {counted(cells, 'value')}.", 0
            )
        if cells > _MOST_CELLS:
            raise cursor.bad(f"{self.name} has {cells} values, more than any image holds.", 0)
        while len(dimensions) > 1 and dimensions[-1] == 1:
            dimensions.pop()
        if kind == "text":
            return (cells,)
        if len(dimensions) > 2 and layout.order == "columns":
            raise NotDecoded("it is an array of more than two dimensions stored by columns")
        return (dimensions[0], prod(dimensions[1:])) if len(dimensions) > 1 else (dimensions[0],)

    def bit_mask(self, itemsize: int, floating: bool) -> int:
        if "BIT_MASK" not in self.options or floating:
            return 0
        whole = (1 << 8 * itemsize) - 1
        mask = self.cursor.go(self.options["BIT_MASK"]).whole("bit mask", 0, 0xFFFF_FFFF_FFFF_FFFF) & whole
        if not mask:
            raise self.cursor.bad("The BIT_MASK leaves no bit of the cell.")
        return 0 if mask == whole else mask
