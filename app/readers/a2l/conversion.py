"""COMPU_METHOD, COMPU_TAB, COMPU_VTAB, COMPU_VTAB_RANGE and UNIT become scalings."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from app.calc.calibration.layout import IDENTICAL
from app.calc.calibration.scaling import Scaling, ScalingKind, TextRange, check_scaling
from app.errors import BadInput
from app.readers.a2l.cursor import Cursor, Option, unquoted
from app.readers.a2l.source import Block, Module, Source
from app.readers.a2l.subset import NotDecoded

_KINDS: dict[str, ScalingKind] = {
    "IDENTICAL": "identical",
    "LINEAR": "linear",
    "RAT_FUNC": "rational",
    "TAB_INTP": "interpolated table",
    "TAB_NOINTP": "exact table",
    "TAB_VERB": "text table",
    "FORM": "formula",
}
_METHOD_OPTIONS = {
    "COEFFS": 6,
    "COEFFS_LINEAR": 2,
    "COMPU_TAB_REF": 1,
    "REF_UNIT": 1,
    "STATUS_STRING_REF": 1,
}
_TABLE_OPTIONS = {"DEFAULT_VALUE": 1, "DEFAULT_VALUE_NUMERIC": 1}
_UNIT_OPTIONS = {"REF_UNIT": 1, "SI_EXPONENTS": 7, "UNIT_CONVERSION": 2}
_T = TypeVar("_T")
_FORMAT = re.compile(r"%\s*\d*\.(\d{1,2})")
_MOST_ROWS = 65_536


@dataclass(frozen=True, slots=True)
class Unusable:
    """A conversion that is written correctly but cannot be computed, and why."""

    reason: str


def decimals_in(format_text: str) -> int | None:
    """Places after the point in a display format.

    >>> decimals_in("%7.2")
    2
    """
    match = _FORMAT.match(format_text)
    return min(int(match[1]), 15) if match else None


def unique(found: Mapping[str, object], name: str, cursor: Cursor) -> None:
    """Refuse a second definition of a name."""
    if name in found:
        raise cursor.bad(f"{cursor.keyword} {name!r} is defined twice.", 0)


class Conversions:
    """All conversions of one module. `get` gives the scaling for a name, with another unit when one is stated."""

    def __init__(self, source: Source, module: Module, skipped: dict[str, None]) -> None:
        self.source, self.skipped = source, skipped
        self.units: dict[str, str] = {}
        self.tables: dict[str, Scaling] = {}
        self.methods: dict[str, Scaling | Unusable] = {}
        self.variants: dict[tuple[str, str | None, int | None], Scaling] = {}
        for block in module.blocks.get("UNIT", []):
            self.unit(block)
        for keyword in ("COMPU_TAB", "COMPU_VTAB", "COMPU_VTAB_RANGE"):
            for block in module.blocks.get(keyword, []):
                self.table(block)
        for block in module.blocks.get("COMPU_METHOD", []):
            self.method(block)

    def get(self, name: str, cursor: Cursor, unit: str | None = None, decimals: int | None = None) -> Scaling:
        """The scaling a block refers to; BadInput at the reference when there is none."""
        key = name, unit, decimals
        found = self.variants.get(key)
        if found is None:
            found = self.variants[key] = self.variant(name, cursor, unit, decimals)
        return found

    def variant(self, name: str, cursor: Cursor, unit: str | None, decimals: int | None) -> Scaling:
        method = IDENTICAL if name == "NO_COMPU_METHOD" else self.methods.get(name)
        if method is None:
            raise cursor.bad(f"{cursor.keyword} refers to a COMPU_METHOD {name!r} that the file does not have.")
        if isinstance(method, Unusable):
            raise NotDecoded(method.reason)
        changed = replace(method, unit=unit) if unit is not None else method
        return replace(changed, decimals=decimals) if decimals is not None else changed

    def unit(self, block: Block) -> None:
        cursor = Cursor(self.source, block)
        name = cursor.name("name")
        unique(self.units, name, cursor)
        cursor.text("description")
        self.units[name] = cursor.text("unit")
        cursor.name("kind")
        cursor.options(_UNIT_OPTIONS, (), self.skipped)

    def table(self, block: Block) -> None:
        cursor = Cursor(self.source, block)
        name = cursor.name("name")
        unique(self.tables, name, cursor)
        cursor.text("description")
        if block.keyword != "COMPU_VTAB_RANGE":
            cursor.choice("kind of table", ("TAB_INTP", "TAB_NOINTP", "TAB_VERB"))
        count = cursor.whole("number of rows", 0, _MOST_ROWS)
        rows = [self.row(cursor, block.keyword) for _ in range(count)]
        options = {o.keyword: o for o in cursor.options(_TABLE_OPTIONS, (), self.skipped)}
        made = Scaling(name=name, kind="text table", texts=tuple(r for r in rows if isinstance(r, TextRange)))
        if block.keyword == "COMPU_TAB":
            made = Scaling(name=name, kind="exact table", points=tuple(r for r in rows if isinstance(r, tuple)))
        if "DEFAULT_VALUE" in options:
            made = replace(made, default_text=cursor.go(options["DEFAULT_VALUE"]).text("default"))
        if "DEFAULT_VALUE_NUMERIC" in options:
            made = replace(made, default_value=cursor.go(options["DEFAULT_VALUE_NUMERIC"]).number("default"))
        self.tables[name] = made

    def row(self, cursor: Cursor, keyword: str) -> TextRange | tuple[float, float]:
        lower = cursor.number("value of a row")
        if keyword == "COMPU_TAB":
            return lower, cursor.number("result of a row")
        upper = cursor.number("upper end of a row") if keyword == "COMPU_VTAB_RANGE" else lower
        return TextRange(lower, upper, cursor.text("text of a row"))

    def method(self, block: Block) -> None:
        cursor = Cursor(self.source, block)
        name = cursor.name("name")
        unique(self.methods, name, cursor)
        cursor.text("description")
        kind = _KINDS[cursor.choice("kind of conversion", _KINDS)]
        decimals = decimals_in(cursor.text("format"))
        unit = cursor.text("unit")
        options = {o.keyword: o for o in cursor.options(_METHOD_OPTIONS, ("FORMULA",), self.skipped)}
        if not unit and "REF_UNIT" in options:
            unit = self.referred(self.units, options["REF_UNIT"], cursor, "UNIT")
        made = replace(self.computed(kind, options, cursor), name=name, unit=unit, decimals=decimals)
        try:
            check_scaling(made)
        except BadInput as problem:
            self.methods[name] = Unusable(problem.sentence)
        else:
            self.methods[name] = made

    def computed(self, kind: ScalingKind, options: dict[str, Option], cursor: Cursor) -> Scaling:
        """The conversion itself, without name and unit."""
        if kind in ("linear", "rational"):
            keyword, count = ("COEFFS_LINEAR", 2) if kind == "linear" else ("COEFFS", 6)
            self.required(keyword, options, cursor).go(options[keyword])
            numbers = tuple(cursor.number("coefficient") for _ in range(count))
            return Scaling(kind=kind, coefficients=numbers)
        if kind == "formula":
            self.required("FORMULA", options, cursor)
            texts = cursor.inner(options["FORMULA"])
            if not texts or texts[0][0] != '"':
                raise cursor.bad("FORMULA needs a text in quotes.", options["FORMULA"].at)
            inverse = texts[2] if len(texts) > 2 and texts[1] == "FORMULA_INV" and texts[2][0] == '"' else '""'
            return Scaling(kind=kind, formula=unquoted(texts[0]), inverse_formula=unquoted(inverse))
        if kind == "identical":
            return IDENTICAL
        self.required("COMPU_TAB_REF", options, cursor)
        table = self.referred(self.tables, options["COMPU_TAB_REF"], cursor, "table")
        return replace(table, kind=kind)

    def required(self, keyword: str, options: dict[str, Option], cursor: Cursor) -> Cursor:
        if keyword not in options:
            raise cursor.bad(f"The conversion needs {keyword}.", 0)
        return cursor

    def referred(self, found: dict[str, _T], option: Option, cursor: Cursor, what: str) -> _T:
        name = cursor.go(option).name(f"name of a {what}")
        if name not in found:
            raise cursor.bad(f"{cursor.keyword} refers to a {what} {name!r} that the file does not have.")
        return found[name]
