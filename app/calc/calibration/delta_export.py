"""A comparison as a file for other programs: a table of every changed cell, or everything as JSON."""

import json
import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta_json import comparison_to_json
from app.calc.calibration.delta_summary import differs
from app.calc.calibration.map_delta import DeltaAxis, Grid, MapDelta
from app.calc.csv_text import Cell, csv_text

HEADER = (
    "what", "name", "category", "unit", "x", "x unit", "y", "y unit", "before", "after", "change", "percent",
    "address", "bytes before", "bytes after", "note",
)  # fmt: skip
_NOT_COVERED = "only one of the two maps covers this point"
_DIGITS = 12
_NO_FIGURE = {"nan": "not a number", "inf": "infinite", "-inf": "minus infinite"}


def comparison_csv(comparison: Comparison) -> str:
    """One line for each changed cell, moved breakpoint, text, unexplained range and checksum that does not hold.

    Cells of maps whose breakpoints moved are listed at the breakpoints of both. No cell is taken for a formula by a
    spreadsheet.
    """
    return csv_text(HEADER, [_line(line) for line in _lines(comparison)])


def comparison_json(comparison: Comparison) -> str:
    """Everything, as `comparison_to_json` describes it."""
    return json.dumps(comparison_to_json(comparison), ensure_ascii=False, indent=1, allow_nan=False)


def _line(named: dict[str, Cell]) -> list[Cell]:
    return [named.get(column) for column in HEADER]


def _lines(comparison: Comparison) -> Iterator[dict[str, Cell]]:
    for delta in comparison.deltas:
        yield from _map_lines(delta)
    for one in comparison.unexplained:
        yield {
            "what": "unexplained",
            "address": f"0x{one.address:X}",
            "bytes before": None if one.before is None else one.before.hex(),
            "bytes after": None if one.after is None else one.after.hex(),
            "note": one.note or None,
        }
    for result in comparison.checksums:
        if result.state != "holds":
            yield {"what": "checksum", "name": result.name, "note": result.state}


def _map_lines(delta: MapDelta) -> Iterator[dict[str, Cell]]:
    about: dict[str, Cell] = {"name": delta.name, "category": delta.category, "unit": delta.unit or None}
    if delta.kind == "text":
        before, after = (state.texts[0] if state.texts else "" for state in (delta.state_before, delta.state_after))
        yield about | {"what": "text", "before": before, "after": after}
        return
    for old, new in zip(delta.axes_before, delta.axes_after, strict=False):
        yield from _axis_lines(delta, old, new)
    grid = delta.grid
    if grid is None:
        yield about | {"what": "map", "note": "shape or breakpoints changed; the cells cannot be compared"}
        return
    for index in np.argwhere(_listed(delta, grid)):
        yield about | {"what": "cell"} | _cell(delta, grid, tuple(int(k) for k in index))


def _listed(delta: MapDelta, grid: Grid) -> NDArray[np.bool_]:
    """The cells that changed, and where breakpoints moved those that only one of the two maps covers."""
    if delta.moved_grid is None:
        return np.asarray(differs(delta.state_before, delta.state_after))
    neither = np.isnan(grid.before) & np.isnan(grid.after)
    changed = np.where(np.isnan(grid.change), (grid.before != grid.after) & ~neither, grid.change != 0)
    return np.asarray(changed | ~grid.covered)


def _cell(delta: MapDelta, grid: Grid, index: tuple[int, ...]) -> dict[str, Cell]:
    numbers = [float(cells[index]) for cells in (grid.before, grid.after, grid.change)]
    before, after, change = map(_finite, numbers)
    line: dict[str, Cell] = {"before": before, "after": after, "change": _tidy(change)}
    if before and change is not None:
        line["percent"] = _tidy(100 * change / abs(before))
    notes = [] if grid.covered[index] else [_NOT_COVERED]
    if not delta.by_hand:
        notes += _special(numbers[:2])
    line["note"] = "; ".join(notes) or None
    for which, k, axis in zip(("x", "y"), reversed(index), grid.axes or (None, None), strict=False):
        line[which] = k + 1 if axis is None else _finite(float(axis.values[k]))
        line[f"{which} unit"] = "cell" if axis is None else axis.unit or None
    return line


def _special(numbers: Sequence[float | None]) -> list[str]:
    """Words for those of before and after that a cell of the table cannot hold."""
    return [
        f"{side} is {_NO_FIGURE[repr(value)]}"
        for side, value in zip(("before", "after"), numbers, strict=True)
        if value is not None and not math.isfinite(value)
    ]


def _axis_lines(delta: MapDelta, old: DeltaAxis, new: DeltaAxis) -> Iterator[dict[str, Cell]]:
    if old.same_points(new):
        return
    for k in range(max(old.values.size, new.values.size)):
        numbers = [float(axis.values[k]) if k < axis.values.size else None for axis in (old, new)]
        if numbers[0] != numbers[1] and not all(value != value for value in numbers):
            before, after = (None if value is None else _finite(value) for value in numbers)
            note = "; ".join([f"breakpoint {k + 1} of {new.name or 'the axis'}", *_special(numbers)])
            line: dict[str, Cell] = {"what": "breakpoint", "name": delta.name, "category": delta.category}
            yield line | {"unit": new.unit or None, "before": before, "after": after, "note": note}


def _tidy(value: float | None) -> float | None:
    """A computed number without the noise of binary fractions: 0.9 and not 0.9000000000000057."""
    return None if value is None else float(f"{value:.{_DIGITS}g}")


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
