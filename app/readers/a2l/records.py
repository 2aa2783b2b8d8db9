"""RECORD_LAYOUT becomes a Record: parts in the order of their positions."""

from dataclasses import dataclass, field, replace
from typing import Literal

from app.calc.calibration.datatype import DataType
from app.calc.calibration.layout import CellOrder
from app.calc.calibration.record_layout import PartRole, Record, RecordPart, StaticKind
from app.readers.a2l.common import ALIGNED, DATA_TYPES, Common, alignment
from app.readers.a2l.conversion import unique
from app.readers.a2l.cursor import Cursor, Option
from app.readers.a2l.source import Module, Source

_AXIS_LETTERS = ("X", "Y", "Z", "4", "5")
_PER_AXIS: dict[str, tuple[int, PartRole]] = {
    "AXIS_PTS_": (4, "axis"),
    "AXIS_RESCALE_": (5, "rescale"),
    "DIST_OP_": (2, "distance"),
    "NO_AXIS_PTS_": (2, "count"),
    "NO_RESCALE_": (2, "rescale count"),
    "OFFSET_": (2, "offset"),
    "SHIFT_OP_": (2, "shift"),
    "RIP_ADDR_": (2, "reserved"),
    "SRC_ADDR_": (2, "reserved"),
    "FIX_NO_AXIS_PTS_": (1, "reserved"),
}
_PARTS: dict[str, tuple[int, PartRole, int]] = {
    f"{stem}{letter}": (count, role, axis)
    for stem, (count, role) in _PER_AXIS.items()
    for axis, letter in enumerate(_AXIS_LETTERS)
} | {
    "FNC_VALUES": (4, "values", 0),
    "IDENTIFICATION": (2, "reserved", 0),
    "RESERVED": (2, "reserved", 0),
    "RIP_ADDR_W": (2, "reserved", 0),
}
_STATIC: dict[str, StaticKind] = {"STATIC_RECORD_LAYOUT": "cells", "STATIC_ADDRESS_OFFSETS": "parts"}
_KNOWN = (
    {keyword: count for keyword, (count, _, _) in _PARTS.items()}
    | dict.fromkeys(_STATIC, 0)
    | dict.fromkeys(ALIGNED, 1)
)
_RESERVED: dict[str, DataType] = {"BYTE": "uint8", "WORD": "uint16", "LONG": "uint32"}
_ORDERS: dict[str, CellOrder] = {"ROW_DIR": "rows", "COLUMN_DIR": "columns"}
_ALTERNATE = ("ALTERNATE_CURVES", "ALTERNATE_WITH_X", "ALTERNATE_WITH_Y")
_ADDRESSING = ("DIRECT", "PBYTE", "PWORD", "PLONG")
_MOST_PAIRS = 65_536


@dataclass(slots=True)
class RecordLayout:
    """A record, how its values run, and `reason` when it lies outside what is decoded."""

    record: Record
    order: CellOrder = "rows"
    fixed_counts: dict[int, int] = field(default_factory=dict)
    reason: str | None = None
    unstated_float64: bool = False

    @property
    def values(self) -> RecordPart | None:
        """The part with the values."""
        return self.record.part("values")

    @property
    def bare(self) -> bool:
        """True when there is but one part, so that no record is needed."""
        return len(self.record.parts) == 1

    def needs(self, role: Literal["axis"], axis: int) -> bool:
        """True when the record has breakpoints for this axis, stored or computed."""
        return any(self.record.part(r, axis) for r in (role, "offset", "rescale"))


def read_records(source: Source, module: Module, common: Common, skipped: dict[str, None]) -> dict[str, RecordLayout]:
    """All record layouts of a module by name."""
    found: dict[str, RecordLayout] = {}
    for block in module.blocks.get("RECORD_LAYOUT", []):
        cursor = Cursor(source, block)
        name = cursor.name("name")
        unique(found, name, cursor)
        found[name] = _Reader(cursor, common, skipped).layout(name)
    return found


class _Reader:
    def __init__(self, cursor: Cursor, common: Common, skipped: dict[str, None]) -> None:
        self.cursor, self.common, self.skipped = cursor, common, skipped
        self.parts: dict[int, RecordPart] = {}
        self.made = RecordLayout(Record("", ()))
        self.aligned: dict[DataType, int] = {}
        self.static: StaticKind = "packed"

    def layout(self, name: str) -> RecordLayout:
        for option in self.cursor.options(_KNOWN, (), self.skipped):
            self.cursor.go(option)
            if option.keyword in _STATIC:
                self.static = _STATIC[option.keyword]
            elif option.keyword in ALIGNED:
                value = alignment(self.cursor)
                self.aligned.update(dict.fromkeys(ALIGNED[option.keyword], value))
            elif option.keyword.startswith("FIX_NO_AXIS_PTS"):
                self.made.fixed_counts[_PARTS[option.keyword][2]] = self.cursor.whole("number of points", 1, 65_535)
            else:
                self.part(option)
        steps = self.common.alignment | self.aligned
        ordered = [self.parts[position] for position in sorted(self.parts)]
        parts = tuple(replace(part, alignment=steps[part.data_type]) for part in ordered)
        stated = self.common.stated | self.aligned.keys()
        self.made.unstated_float64 = "float64" not in stated and any(p.data_type == "float64" for p in parts[1:])
        self.made.record = Record(name, parts, self.static)
        return self.made

    def part(self, option: Option) -> None:
        cursor, (_, role, axis) = self.cursor, _PARTS[option.keyword]
        position = cursor.whole("position", 1, 65_535)
        if position in self.parts:
            raise cursor.bad(f"Two parts of the record have the position {position}.")
        if option.keyword == "RESERVED":
            data_type = _RESERVED[cursor.choice("size", _RESERVED)]
        else:
            data_type = DATA_TYPES[cursor.choice("data type", DATA_TYPES)]
        if role != "reserved" and any(p.role == role and p.axis == axis for p in self.parts.values()):
            raise cursor.bad(f"{option.keyword} stands twice in one record.", option.at)
        part = RecordPart(role, data_type, axis)
        if role == "rescale":
            part = replace(part, pairs=cursor.whole("number of pairs", 1, _MOST_PAIRS))
        if role == "values":
            self.order(cursor)
        elif role in ("axis", "rescale"):
            part = replace(part, descending=cursor.choice("index order", ("INDEX_INCR", "INDEX_DECR")) == "INDEX_DECR")
        if role in ("values", "axis", "rescale") and cursor.choice("addressing", _ADDRESSING) != "DIRECT":
            self.made.reason = f"its record {option.keyword} is reached through a pointer"
        if axis > 1:
            self.made.reason = "its record has more than two axes"
        if role in ("count", "rescale count", "shift") and data_type.startswith("float"):
            raise cursor.bad(f"{option.keyword} cannot be a float.", option.at)
        self.parts[position] = part

    def order(self, cursor: Cursor) -> None:
        word = cursor.choice("index mode", (*_ORDERS, *_ALTERNATE))
        if word in _ALTERNATE:
            self.made.reason = f"its record stores values as {word}"
        else:
            self.made.order = _ORDERS[word]
