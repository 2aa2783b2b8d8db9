"""A map's change as people type or paste it: numbers in rows, before and after, with the axes they stand on."""

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.layout import CATEGORIES, Category
from app.calc.calibration.manual_delta import manual_delta
from app.calc.calibration.map_delta import DeltaAxis, MapDelta
from app.errors import BadInput

MOST_CELLS = 10_000
_MOST_DECIMALS = 6
_BETWEEN = re.compile(r"[\t;]|\s+")


@dataclass(frozen=True, slots=True)
class TypedMap:
    """The fields as typed. `before` and `after` hold a line for each row; an empty axis means that there is none."""

    name: str
    category: str = "other"
    unit: str = ""
    x_name: str = ""
    x_unit: str = ""
    x: str = ""
    y_name: str = ""
    y_unit: str = ""
    y: str = ""
    before: str = ""
    after: str = ""


def read_typed_map(typed: TypedMap) -> MapDelta:
    """The change that the fields describe.

    Numbers are separated by blanks, tabs or semicolons; a decimal comma is understood. BadInput names the field:
    a missing name, a number that is none, rows of different lengths, a number of cells that the axes do not have,
    breakpoints that do not rise or fall, and a map that did not change.
    """
    name = typed.name.strip()
    if not name:
        raise BadInput("Write the map's name.", field="name")
    before, after = _rows(typed.before, "before"), _rows(typed.after, "after")
    if before.shape != after.shape:
        raise BadInput(
            f"Before has {_shape(before)} cells, after {_shape(after)}; both need the same rows and columns.",
            field="after",
        )
    axes = _axes(typed, before.shape)
    shape = _shape_of(before.shape, len(axes))
    delta = manual_delta(
        name,
        before=before.reshape(shape),
        after=after.reshape(shape),
        unit=typed.unit,
        category=_category(typed.category),
        axes=axes,
        decimals=_decimals(typed.before, typed.after),
    )
    if not delta.summary.changed:
        raise BadInput("Before and after are the same: nothing changed.", field="after")
    return delta


def _category(text: str) -> Category:
    for category in CATEGORIES:
        if category == text:
            return category
    raise BadInput(f"Choose one of {', '.join(CATEGORIES)}.", field="category")


def _shape_of(typed: tuple[int, ...], axes: int) -> tuple[int, ...]:
    """A single number without axes is no table; a single row over x, or without axes, is a row."""
    if axes == 2 or typed[0] > 1:
        return typed
    return () if typed == (1, 1) and not axes else (typed[1],)


def _rows(text: str, field: str) -> NDArray[np.float64]:
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise BadInput(f"Write the numbers {field} the change.", field=field)
    rows = [_numbers(line, field, f"line {number}") for number, line in enumerate(lines, start=1)]
    lengths = {len(row) for row in rows}
    if len(lengths) > 1:
        raise BadInput("The rows have different numbers of cells; write one row of the map on each line.", field=field)
    if len(rows) * len(rows[0]) > MOST_CELLS:
        raise BadInput(f"A map entered by hand may have {MOST_CELLS:,} cells; upload the image instead.", field=field)
    return np.array(rows)


def _numbers(line: str, field: str, where: str) -> list[float]:
    found = []
    for word in _BETWEEN.split(line.strip()):
        text = word.replace("\u2212", "-").replace(",", ".")
        try:
            value = float(text) if "_" not in text else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise BadInput(f"“{word[:20]}” is no number.", field=field, where=where)
        found.append(value)
    return found


def _axes(typed: TypedMap, shape: tuple[int, ...]) -> tuple[DeltaAxis, ...]:
    rows, columns = shape
    if not typed.x.strip():
        if typed.y.strip():
            raise BadInput("A map along y needs breakpoints along x too.", field="x")
        return ()
    x = _axis(typed.x_name, typed.x_unit, typed.x, columns, "x", "columns")
    if not typed.y.strip():
        if rows > 1:
            raise BadInput(f"There are {rows} rows: write the breakpoints along y.", field="y")
        return (x,)
    return x, _axis(typed.y_name, typed.y_unit, typed.y, rows, "y", "rows")


def _axis(name: str, unit: str, text: str, length: int, field: str, what: str) -> DeltaAxis:
    values = np.array(_numbers(text, field, "breakpoints"))
    if values.size != length:
        raise BadInput(f"There are {length} {what} and {values.size} breakpoints along {field}.", field=field)
    steps = np.diff(values)
    if not ((steps > 0).all() or (steps < 0).all()):
        raise BadInput(f"Breakpoints along {field} must rise or fall from each to the next.", field=field)
    return DeltaAxis(name.strip() or field, unit.strip(), values, _decimals(text))


def _decimals(*texts: str) -> int:
    """As many places as the numbers were typed with."""
    places = (len(found[1]) for text in texts for found in re.finditer(r"[.,](\d+)", text))
    return min(max(places, default=0), _MOST_DECIMALS)


def _shape(numbers: NDArray[np.float64]) -> str:
    return f"{numbers.shape[0]} × {numbers.shape[1]}"
