"""A map's numbers as the table of cells on the page."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from app.calc.calibration.map_delta import DeltaAxis, Floats, Grid, MapDelta, MapState
from app.calc.number_text import unit_of
from app.pages.diff.words import number

ONE_ONLY = "beyond the breakpoints of one of the two maps, which holds its end value here"


def rows_of(values: Floats) -> Floats:
    """A single value or a curve as one row."""
    return values.reshape(1, -1) if values.ndim < 2 else values


def shown(grid: Grid, show: str) -> Floats:
    """The numbers to show: "before", "after", "percent" or the difference."""
    if show in ("before", "after"):
        return grid.before if show == "before" else grid.after
    if show == "percent":
        with np.errstate(all="ignore"):  # float cells may hold any bits
            return np.where(grid.before == 0, np.nan, 100 * grid.change / np.abs(grid.before))
    return grid.change


def limit_of(grid: Grid) -> float:
    """The end of the colours' scale: the largest change, or 1 when there is none."""
    sizes = np.abs(grid.change[np.isfinite(grid.change)])
    return (float(sizes.max()) if sizes.size else 0.0) or 1.0


def table_of(delta: MapDelta, grid: Grid, show: str) -> dict[str, Any]:
    """The grid as the map table's arguments: axes, and rows of cells with text, step of colour and mark."""
    values, change = rows_of(shown(grid, show)), rows_of(grid.change)
    percent = show == "percent"
    texts = _texts(delta, values, show)
    if texts is None:
        decimals = 1 if percent else delta.decimals
        signed = show in ("change", "percent")
        texts = [[number(value, decimals, sign=signed) for value in row] for row in values.tolist()]
    steps = _steps(change, limit_of(grid)).tolist()
    covered = rows_of(np.asarray(grid.covered, np.float64)).tolist()
    return {
        "x": axis_of(grid.axes[0] if grid.axes else None, values.shape[1]),
        "y": axis_of(grid.axes[1], values.shape[0]) if len(grid.axes) > 1 else _counted(values.shape[0]),
        "rows": [
            [_cell(text, step, not covered[y][x]) for x, (text, step) in enumerate(line)]
            for y, line in enumerate(
                zip(row, row_steps, strict=True) for row, row_steps in zip(texts, steps, strict=True)
            )
        ],
        "unit": "%" if percent else unit_of(delta.unit) or "no unit",
    }


def state_table(delta: MapDelta, state: MapState) -> dict[str, Any]:
    """One side alone, for maps of which no point can be compared."""
    values = rows_of(state.values)
    return {
        "x": axis_of(state.axes[0] if state.axes else None, values.shape[1]),
        "y": axis_of(state.axes[1], values.shape[0]) if len(state.axes) > 1 else _counted(values.shape[0]),
        "rows": [[number(value, delta.decimals) for value in row] for row in values.tolist()],
        "unit": unit_of(delta.unit) or "no unit",
    }


def _cell(text: str, step: int, uncovered: bool) -> dict[str, Any]:
    return {"text": text, "step": step, "mark": ONE_ONLY} if uncovered else {"text": text, "step": step}


def _texts(delta: MapDelta, values: Floats, show: str) -> list[list[str]] | None:
    """For numbers that stand for words, the words."""
    old, new = delta.state_before.texts, delta.state_after.texts
    if show == "percent" or not values.size or len(old) != values.size or len(new) != values.size:
        return None
    words: Sequence[str] = {"before": old, "after": new}.get(show) or [
        a if a == b else f"{a} → {b}" for a, b in zip(old, new, strict=True)
    ]
    columns = values.shape[1]
    return [list(words[start : start + columns]) for start in range(0, len(words), columns)]


def _steps(change: Floats, limit: float) -> np.ndarray[Any, np.dtype[np.int64]]:
    """−4 … 4: how dark each cell's colour is; every change has at least one step."""
    with np.errstate(all="ignore"):
        size = np.clip(np.ceil(4 * (np.abs(change) / limit)), 1, 4)
        steps = np.where(np.isfinite(change) & (change != 0), np.copysign(size, change), 0.0)
    return steps.astype(np.int64)


def axis_of(axis: DeltaAxis | None, length: int) -> dict[str, Any]:
    """Heading of rows or columns: breakpoints as written, or numbers of cells where there are none."""
    if axis is None or len(axis.values) != length:
        return {"label": "Cell", "unit": "number", "values": [str(n + 1) for n in range(length)]}
    return {
        "label": axis.name or "Axis",
        "unit": unit_of(axis.unit) or "no unit",
        "values": [number(value, axis.decimals) for value in axis.values.tolist()],
    }


def _counted(rows: int) -> dict[str, Any] | None:
    """Headings for the rows of a block of several rows; None for a single row."""
    if rows == 1:
        return None
    return {"label": "Row", "unit": "number", "values": [str(n + 1) for n in range(rows)]}


def plain(values: Floats) -> list[list[float | None]]:
    """Rows of numbers for JSON: None where there is none."""
    return [[value if math.isfinite(value) else None for value in row] for row in rows_of(values).tolist()]
