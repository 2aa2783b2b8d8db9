"""The cells of our CSV form for layouts: dialect, headings, and one cell as a number, an address, a word."""

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping
from typing import TypeVar, overload

from app.calc.calibration.datatype import DATA_TYPES as TYPES
from app.calc.calibration.datatype import ByteOrder, DataType
from app.calc.calibration.layout import IDENTICAL, CellOrder
from app.calc.calibration.layout_check import HIGHEST_ADDRESS, MOST_POINTS
from app.calc.calibration.scaling import Scaling
from app.errors import BadInput

_Word = TypeVar("_Word", bound=str)

_AXIS = ("name", "unit", "address", "points", "data type", "factor", "offset", "values")
COLUMNS: tuple[str, ...] = (
    "what", "name", "category", "description", "address", "last address", "columns", "rows", "order", "data type",
    "byte order", "unit", "factor", "offset", "decimals", *(f"x axis {a}" for a in _AXIS),
    *(f"y axis {a}" for a in _AXIS), "algorithm", "stored at", "software number", "address base",
)  # fmt: skip
DATA_TYPES: tuple[DataType, ...] = TYPES
BYTE_ORDERS: dict[str, ByteOrder] = {"big": "big", "little": "little"}
ORDERS: dict[str, CellOrder] = {"rows": "rows", "columns": "columns"}

_ADDRESS = re.compile(r"([+-]?)0[xX]([0-9a-fA-F]{1,12})")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")
_SEPARATORS = ",;\t"


class Row:
    """One line, its cells by heading. A decimal comma is possible only where commas do not part the cells."""

    def __init__(self, line: int, cells: dict[str, str], decimal_comma: bool) -> None:
        self.line, self.cells, self.decimal_comma = line, cells, decimal_comma

    def bad(self, column: str, sentence: str) -> BadInput:
        """An error in one cell."""
        return BadInput(sentence, field=column, where=f'line {self.line}, column "{column}"')

    def text(self, column: str) -> str:
        """A cell without outer spaces; empty when the table has no such column."""
        return self.cells.get(column, "")

    def required(self, column: str) -> str:
        """A cell that must not be empty."""
        text = self.text(column)
        if not text:
            raise self.bad(column, f"The {column} is missing.")
        return text

    def choice(self, column: str, allowed: Mapping[str, _Word], default: _Word) -> _Word:
        """One of some words, or the default for an empty cell."""
        text = self.text(column).lower()
        if not text:
            return default
        if text not in allowed:
            raise self.bad(column, f"{text[:40]!r} is not allowed here; allowed are {', '.join(allowed)}.")
        return allowed[text]

    def data_type(self, column: str, default: DataType) -> tuple[DataType, bool]:
        """A data type, and True when the cell says text."""
        allowed: dict[str, DataType] = {name: name for name in DATA_TYPES}
        allowed["text"] = "uint8"
        return self.choice(column, allowed, default), self.text(column).lower() == "text"

    @overload
    def address(self, column: str, default: int = ..., *, signed: bool = ...) -> int: ...
    @overload
    def address(self, column: str, default: None, *, signed: bool = ...) -> int | None: ...
    def address(self, column: str, default: int | None = -1, *, signed: bool = False) -> int | None:
        """An address; BadInput for an empty cell unless there is a default."""
        text = self.text(column).replace(" ", "")
        if not text:
            if default == -1:
                raise self.bad(column, f"The {column} is missing; write it like 0x8100.")
            return default
        match = _ADDRESS.fullmatch(text)
        if match is None or (match[1] and not signed):
            raise self.bad(column, f"{text[:40]!r} is no address; write it in hexadecimal like 0x8100.")
        return int(match[1] + match[2], 16)

    def range(self) -> tuple[int, int]:
        """Start and end, end exclusive, of the addresses on this line."""
        start, last = self.address("address"), self.address("last address")
        if last < start or last >= HIGHEST_ADDRESS:
            raise self.bad("last address", f"The last address 0x{last:X} lies before the first, 0x{start:X}.")
        return start, last + 1

    def number(self, column: str, text: str) -> float:
        """A finite number, with decimal point or, where possible, decimal comma."""
        plain = text.replace(",", ".") if self.decimal_comma else text
        value = float(plain) if _NUMBER.fullmatch(plain) else math.nan
        if not math.isfinite(value):
            raise self.bad(column, f"{text[:40]!r} is no number; write it like 0.25, without thousands separators.")
        return value

    def numbers(self, column: str) -> tuple[float, ...] | None:
        """Numbers with spaces between them; None for an empty cell."""
        words = self.text(column).split()
        if len(words) > MOST_POINTS:
            raise self.bad(column, f"There are {len(words)} values; at most {MOST_POINTS} are allowed.")
        return tuple(self.number(column, word) for word in words) if words else None

    def whole(self, column: str, low: int, high: int) -> int | None:
        """A whole number within limits; None for an empty cell."""
        text = self.text(column)
        if not text:
            return None
        value = self.number(column, text)
        if value != int(value) or not low <= value <= high:
            raise self.bad(column, f"{text[:40]} is not allowed here; allowed are whole numbers {low} to {high}.")
        return int(value)

    def count(self, column: str) -> int | None:
        """A number of points or cells; None for an empty cell."""
        return self.whole(column, 1, MOST_POINTS)

    def scaling(self, prefix: str) -> Scaling:
        """The conversion in the columns factor, offset, unit that begin with `prefix`."""
        factor_text, offset_text = self.text(f"{prefix}factor"), self.text(f"{prefix}offset")
        unit = self.text(f"{prefix}unit")
        factor = self.number(f"{prefix}factor", factor_text) if factor_text else 1.0
        offset = self.number(f"{prefix}offset", offset_text) if offset_text else 0.0
        if factor == 0:
            raise self.bad(f"{prefix}factor", "The factor cannot be 0: every stored number would mean the same.")
        if (factor, offset) == (1.0, 0.0):
            return Scaling(unit=unit) if unit else IDENTICAL
        return Scaling.linear(factor, offset, unit=unit)


def rows_of(data: bytes) -> Iterator[Row]:
    """The filled lines under the headings."""
    text = _decoded(data)
    lines = text.splitlines(keepends=True)
    first = _first_line(lines)
    separator = max(_SEPARATORS, key=lines[first].count)
    table = csv.reader(io.StringIO("".join(lines[first:]), newline=""), delimiter=separator, strict=True)
    headings: list[str] = []
    last = 0
    while True:
        try:
            cells = next(table, None)
        except csv.Error as problem:
            raise BadInput(
                f"The table is damaged here: {problem}; save it again as CSV.", where=f"line {first + last + 1}"
            ) from problem
        line, last = first + last + 1, table.line_num
        if cells is None:
            return
        if not headings:
            headings = _headings(cells, line)
        elif any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
            yield _row(line, headings, cells, separator != ",")


def _decoded(data: bytes) -> str:
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\0" in text:
        raise BadInput("This is not a text file: it holds zero bytes. Save the table as CSV.")
    return text


def _first_line(lines: list[str]) -> int:
    for k, line in enumerate(lines):
        plain = line.strip()
        if plain.strip(_SEPARATORS + " ") and not plain.startswith("#") and not plain.lower().startswith("sep="):
            return k
    raise BadInput("The table is empty; the template has the headings.", where="line 1")


def _headings(cells: list[str], line: int) -> list[str]:
    headings = [" ".join(cell.replace("_", " ").lower().split()) for cell in cells]
    for heading in headings:
        where = f"line {line}"
        if heading and heading not in COLUMNS:
            raise BadInput(f"The heading {heading[:40]!r} is not known; allowed are {', '.join(COLUMNS)}.", where=where)
        if heading and headings.count(heading) > 1:
            raise BadInput(f"The heading {heading!r} stands there twice.", where=where)
    missing = [column for column in ("name", "address") if column not in headings]
    if missing:
        raise BadInput(
            f"The table needs the heading {missing[0]!r}; the template has all of them.", where=f"line {line}"
        )
    return headings


def _row(line: int, headings: list[str], cells: list[str], decimal_comma: bool) -> Row:
    if any(cell.strip() for cell in cells[len(headings) :]):
        raise BadInput(f"The line has {len(cells)} cells, there are {len(headings)} headings.", where=f"line {line}")
    found = {heading: cell.strip() for heading, cell in zip(headings, cells, strict=False) if heading}
    return Row(line, found, decimal_comma)
