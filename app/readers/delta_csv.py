"""Changes noted in a table: one line for each cell that was edited, or one for a whole map.

    map, x, y, before, after, change, unit, category, x axis, x unit, y axis, y unit

`map` and either `before` and `after`, or `change`, are needed; all others may be missing. x and y are the breakpoints
of the cell; a line without them holds for every cell of the map. A change may be written "+2", or "+5 %". Cells of a
map that no line names are unknown, not unchanged. Columns are told by their headings, in any order; spreadsheet
habits are accepted: semicolon, tab or comma between cells, decimal comma.
"""

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.calc.calibration.layout import CATEGORIES, Category
from app.calc.calibration.manual_delta import manual_delta
from app.calc.calibration.map_delta import DeltaAxis, MapDelta
from app.errors import BadInput, TooLarge
from app.readers.table_dialect import decode, number

COLUMNS = (
    "map", "x", "y", "before", "after", "change", "unit", "category", "x axis", "x unit", "y axis", "y unit",
)  # fmt: skip
MAX_LINES = 100_000
MAX_CELLS = 100_000

_SEPARATORS = ",;\t"


@dataclass(frozen=True, slots=True)
class _Line:
    """One line: its place in the file, and its cells by heading."""

    number: int
    cells: dict[str, str]
    decimal: str

    def text(self, column: str) -> str:
        return self.cells.get(column, "")

    def bad(self, column: str, sentence: str) -> BadInput:
        return BadInput(sentence, field=column, where=f'line {self.number}, column "{column}"')

    def value(self, column: str, text: str | None = None) -> float | None:
        """A finite number; None for an empty cell."""
        text = self.text(column) if text is None else text
        if not text:
            return None
        value = number(text, self.decimal)
        if value is None or not math.isfinite(value):
            raise self.bad(column, f"{text[:40]!r} is no number; write it like 0.25.")
        return value


@dataclass(frozen=True, slots=True)
class _Edit:
    """One line understood. `change` is set when before and after are not."""

    line: _Line
    x: float | None
    y: float | None
    before: float | None
    after: float | None
    change: float | None
    unit: str


def read_delta_csv(data: bytes) -> tuple[MapDelta, ...]:
    """The changed maps of a table, in the order they first stand there; BadInput names line and column."""
    edits: dict[str, list[_Edit]] = {}
    for line in _lines(data):
        name = line.text("map")
        if not name:
            raise line.bad("map", "The name of the map is missing.")
        edits.setdefault(name, []).append(_edit(line))
    if not edits:
        raise BadInput("The table has headings but no line with a change.", where="line 2")
    return tuple(_delta(name, rows) for name, rows in edits.items())


def _edit(line: _Line) -> _Edit:
    text = line.text("change")
    percent = text.endswith("%")
    before, after = line.value("before"), line.value("after")
    change = line.value("change", text.removesuffix("%").strip())
    unit = "%" if percent else line.text("unit")
    if before is not None and after is None and change is not None:
        after = before * (1 + change / 100) if percent else before + change
        unit = line.text("unit")
    elif (before is None) != (after is None):
        raise line.bad("after" if after is None else "before", "Give both before and after, or only the change.")
    elif before is not None and after is not None and change is not None:
        raise line.bad("change", "Give before and after or the change, not all three.")
    if before is None and change is None:
        raise line.bad("before", "The line says nothing about the change: give before and after, or the change.")
    return _Edit(line, line.value("x"), line.value("y"), before, after, None if after is not None else change, unit)


def _delta(name: str, rows: list[_Edit]) -> MapDelta:
    first = rows[0]
    for row in rows[1:]:
        _same_form(name, first, row)
    axes = [axis for axis in (_axis(rows, "x"), _axis(rows, "y")) if axis is not None]
    if first.x is None and first.y is not None:
        raise first.line.bad("x", "A cell with a y needs an x too; a curve has only x.")
    shape = tuple(axis.values.size for axis in reversed(axes))
    if math.prod(shape) > MAX_CELLS:
        raise TooLarge(f"The lines of the map {name!r} span {math.prod(shape)} cells; at most {MAX_CELLS} are allowed.")
    columns = {key: np.full(shape, np.nan) for key in ("before", "after", "change")}
    taken: set[tuple[int, ...]] = set()
    for row in rows:
        cell = tuple(
            int(np.searchsorted(axis.values, value))
            for axis, value in zip(reversed(axes), [v for v in (row.y, row.x) if v is not None], strict=True)
        )
        if cell in taken:
            raise row.line.bad("x", f"The map {name!r} has this cell twice.")
        taken.add(cell)
        for key, numbers in columns.items():
            value = getattr(row, key)
            numbers[cell] = np.nan if value is None else value
    decimals = max(_decimals(row.line) for row in rows)
    category = _category(rows)
    if first.change is not None:
        return manual_delta(
            name, change=columns["change"], unit=first.unit, category=category, axes=axes, decimals=decimals
        )
    return manual_delta(
        name,
        before=columns["before"],
        after=columns["after"],
        unit=first.unit,
        category=category,
        axes=axes,
        decimals=decimals,
    )


def _same_form(name: str, first: _Edit, row: _Edit) -> None:
    line = first.line.number
    if (row.x is None, row.y is None) != (first.x is None, first.y is None):
        raise row.line.bad("x", f"The map {name!r} has other breakpoint columns filled in line {line}.")
    if (row.change is None) != (first.change is None):
        raise row.line.bad("change", f"The map {name!r} has before and after in one line and a change in another.")
    if row.unit != first.unit:
        raise row.line.bad(
            "unit", f"The map {name!r} is in {first.unit or 'no unit'} in line {line}, here in {row.unit}."
        )


def _axis(rows: list[_Edit], which: str) -> DeltaAxis | None:
    values = [value for row in rows if (value := getattr(row, which)) is not None]
    if not values:
        return None
    points = np.unique(np.array(values))
    line = rows[0].line
    decimals = max((len(text.partition(line.decimal)[2]) for row in rows if (text := row.line.text(which))), default=0)
    return DeltaAxis(line.text(f"{which} axis") or which, line.text(f"{which} unit"), points, min(decimals, 6))


def _category(rows: list[_Edit]) -> Category:
    for row in rows:
        text = row.line.text("category").lower()
        if text and text not in CATEGORIES:
            raise row.line.bad("category", f"{text[:40]!r} is no category; choose one of {', '.join(CATEGORIES)}.")
        if text:
            return next(category for category in CATEGORIES if category == text)
    return "other"


def _decimals(line: _Line) -> int:
    texts = (line.text(column).removesuffix("%").strip() for column in ("before", "after", "change"))
    return min(6, max(len(text.partition(line.decimal)[2]) for text in texts))


def _lines(data: bytes) -> Iterator[_Line]:
    text, _ = decode(data)
    lines = text.splitlines(keepends=True)
    if len(lines) > MAX_LINES:
        raise TooLarge(f"The table has {len(lines)} lines; at most {MAX_LINES} are read.")
    start = next((k for k, line in enumerate(lines) if line.strip() and not line.lower().startswith("sep=")), 0)
    separator = max(_SEPARATORS, key=lines[start].count)
    table = csv.reader(io.StringIO("".join(lines[start:]), newline=""), delimiter=separator, strict=True)
    headings: list[str] = []
    last = start
    try:
        for cells in table:
            place, last = last + 1, start + table.line_num
            if not headings:
                headings = _headings(cells, place)
            elif any(cell.strip() for cell in cells) and not cells[0].startswith("#"):
                yield _Line(place, _cells(headings, cells, place), _decimal(separator, cells))
    except csv.Error as problem:
        raise BadInput(
            f"The table is damaged here: {problem}; save it again as CSV.", where=f"line {last + 1}"
        ) from problem


def _headings(cells: list[str], place: int) -> list[str]:
    headings = [" ".join(cell.replace("_", " ").lower().split()) for cell in cells]
    for heading in filter(None, headings):
        if heading not in COLUMNS:
            raise BadInput(
                f"The heading {heading[:40]!r} is not known; allowed are {', '.join(COLUMNS)}.", where=f"line {place}"
            )
        if headings.count(heading) > 1:
            raise BadInput(f"The heading {heading!r} stands there twice.", where=f"line {place}")
    if "map" not in headings:
        raise BadInput('The table needs the heading "map".', where=f"line {place}")
    return headings


def _cells(headings: list[str], cells: list[str], place: int) -> dict[str, str]:
    if any(cell.strip() for cell in cells[len(headings) :]):
        raise BadInput(f"The line has {len(cells)} cells, there are {len(headings)} headings.", where=f"line {place}")
    return {heading: cell.strip() for heading, cell in zip(headings, cells, strict=False) if heading}


def _decimal(separator: str, cells: list[str]) -> str:
    """A comma is a decimal sign only where commas do not part the cells and the line has no decimal point."""
    return "," if separator != "," and any("," in cell for cell in cells) else "."
