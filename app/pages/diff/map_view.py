"""One changed map for the page: its numbers as a table, and the charts beside it."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from app.calc.calibration.map_delta import DeltaAxis, Floats, Grid, MapDelta

MINUS = "\u2212"
SHOWS = (("change", "Difference"), ("percent", "Percent"), ("before", "Before"), ("after", "After"))


@dataclass(frozen=True, slots=True)
class MapView:
    """What the panel of one map shows."""

    name: str
    kind: str
    category: str
    unit: str
    sentence: str
    notes: tuple[str, ...]
    text_before: str
    text_after: str
    show: str
    table: dict[str, Any] | None
    heatmap: dict[str, Any] | None
    section: dict[str, Any] | None
    surface: dict[str, Any] | None
    start: tuple[int, int]
    limit: str
    facts: tuple[tuple[str, str | None], ...]


def number(value: float | None, decimals: int, *, sign: bool = False) -> str:
    """A value with a true minus; "–" where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:+,.{decimals}f}" if sign else f"{value:,.{decimals}f}"
    return text.replace("-", MINUS)


def sentence_of(delta: MapDelta) -> str:
    """The change in words: how many cells, between which values, largest where."""
    summary, unit = delta.summary, delta.unit
    if delta.kind == "text":
        return "The text changed."
    if summary.largest is None:
        return (
            "The breakpoints or the shape changed; no common point can be compared."
            if delta.axis_changed
            else "The raw values changed, the physical ones did not."
        )
    largest = summary.largest
    places = ", ".join(f"{number(a.value, a.decimals)} {a.unit}".strip() for a in largest.at)
    where = f" at {places}" if places else ""
    percent = "" if largest.percent is None else f" ({number(largest.percent, 1, sign=True)} %)"
    counted = f"{summary.changed} of {summary.cells} cells changed" if summary.cells > 1 else "The value changed"
    moved = "; breakpoints moved, compared on the union of both axes" if delta.axis_changed else ""
    return f"{counted}; the largest change is {number(largest.change, delta.decimals, sign=True)} {unit}{percent}{where}{moved}."


def map_view(delta: MapDelta, show: str) -> MapView:
    """Numbers and charts of one map; `show` is one of SHOWS."""
    grid = delta.grid
    texts = delta.kind == "text"
    values = None if grid is None else _shown(grid, show)
    table = None if grid is None or values is None else _table(grid, values, delta, show)
    flat = grid is not None and grid.change.ndim == 2 and min(grid.change.shape) > 1
    return MapView(
        name=delta.name,
        kind=delta.kind,
        category=delta.category,
        unit=delta.unit or "–",
        sentence=sentence_of(delta),
        notes=_notes(delta),
        text_before=delta.state_before.texts[0] if texts and delta.state_before.texts else "",
        text_after=delta.state_after.texts[0] if texts and delta.state_after.texts else "",
        show=show if show in dict(SHOWS) else "change",
        table=table,
        heatmap=_heatmap(grid, delta) if grid is not None and grid.change.size > 1 else None,
        section=_section(grid, delta) if grid is not None and grid.change.size > 1 else None,
        surface=_surface(grid, delta) if grid is not None and flat else None,
        start=_start(delta, grid),
        limit=number(_limit(grid), delta.decimals) if grid is not None else "",
        facts=_facts(delta),
    )


def _shown(grid: Grid, show: str) -> Floats:
    if show == "before":
        return grid.before
    if show == "after":
        return grid.after
    if show == "percent":
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(grid.before == 0, np.nan, 100 * grid.change / np.abs(grid.before))
    return grid.change


def _limit(grid: Grid | None) -> float:
    if grid is None or not np.isfinite(grid.change).any():
        return 1.0
    return float(np.nanmax(np.abs(grid.change))) or 1.0


def _rows(values: Floats) -> Floats:
    return values.reshape(1, -1) if values.ndim < 2 else values


def _table(grid: Grid, values: Floats, delta: MapDelta, show: str) -> dict[str, Any]:
    rows, change = _rows(values), _rows(grid.change)
    limit = _limit(grid)
    covered = None if grid.covered is None else _rows(np.asarray(grid.covered, np.float64))
    decimals = 1 if show == "percent" else delta.decimals
    cells = [
        [
            {
                "text": number(float(rows[y, x]), decimals, sign=show in ("change", "percent")),
                "step": _step(float(change[y, x]), limit),
                "mark": "only one of the two maps covers this point"
                if covered is not None and not covered[y, x]
                else "",
            }
            for x in range(rows.shape[1])
        ]
        for y in range(rows.shape[0])
    ]
    for row in cells:
        for cell in row:
            if not cell["mark"]:
                del cell["mark"]
    return {
        "x": _axis(grid.axes[0] if grid.axes else None, rows.shape[1]),
        "y": _axis(grid.axes[1], rows.shape[0]) if len(grid.axes) > 1 else None,
        "rows": cells,
        "unit": "%" if show == "percent" else delta.unit,
    }


def _step(change: float, limit: float) -> int:
    """−4 … 4: how dark the cell's colour is."""
    if not math.isfinite(change) or change == 0:
        return 0
    return int(math.copysign(max(1, min(4, math.ceil(4 * abs(change) / limit))), change))


def _axis(axis: DeltaAxis | None, length: int) -> dict[str, Any]:
    if axis is None or len(axis.values) != length:
        return {"label": "Cell", "unit": "", "values": [str(n + 1) for n in range(length)]}
    return {
        "label": axis.name or "Axis",
        "unit": axis.unit,
        "values": [number(float(v), axis.decimals) for v in axis.values],
    }


def _chart_axis(axis: DeltaAxis | None, length: int) -> dict[str, Any]:
    if axis is None or len(axis.values) != length:
        return {"label": "Cell", "unit": "", "values": [n + 1 for n in range(length)]}
    return {"label": axis.name or "Axis", "unit": axis.unit, "values": [float(v) for v in axis.values]}


def _plain(values: Floats) -> list[list[float | None]]:
    return [[float(v) if math.isfinite(v) else None for v in row] for row in _rows(values)]


def _frame(grid: Grid, delta: MapDelta) -> dict[str, Any]:
    rows = _rows(grid.change)
    return {
        "x": _chart_axis(grid.axes[0] if grid.axes else None, rows.shape[1]),
        "y": _chart_axis(grid.axes[1], rows.shape[0]) if len(grid.axes) > 1 else None,
        "z": {"label": delta.name, "unit": delta.unit},
    }


def _heatmap(grid: Grid, delta: MapDelta) -> dict[str, Any]:
    frame = _frame(grid, delta)
    frame["z"]["values"] = _plain(grid.change)
    return {"kind": "heatmap", **frame, "scale": "difference", "limit": _limit(grid)}


def _surface(grid: Grid, delta: MapDelta) -> dict[str, Any]:
    frame = _frame(grid, delta)
    frame["z"]["values"] = _plain(grid.after)
    return {"kind": "surface", **frame, "scale": "amount"}


def _section(grid: Grid, delta: MapDelta) -> dict[str, Any]:
    return {
        "kind": "section",
        **_frame(grid, delta),
        "series": [
            {"name": "Before", "role": "before", "z": _plain(grid.before)},
            {"name": "After", "role": "after", "z": _plain(grid.after)},
        ],
        "point": list(_start(delta, grid)),
    }


def _start(delta: MapDelta, grid: Grid | None) -> tuple[int, int]:
    """The cell of the largest change."""
    if grid is None or delta.summary.largest is None:
        return (0, 0)
    index = delta.summary.largest.index
    return (0, index[-1] if index else 0) if len(index) < 2 else (index[0], index[1])


def _notes(delta: MapDelta) -> tuple[str, ...]:
    summary = delta.summary
    notes = []
    if summary.at_raw_maximum or summary.at_raw_minimum:
        count = summary.at_raw_maximum + summary.at_raw_minimum
        notes.append(f"{count} changed cells now hold the smallest or largest number that fits.")
    if summary.uncovered:
        notes.append(f"{summary.uncovered} points are covered by only one of the two maps and count in no figure.")
    if delta.by_hand:
        notes.append("Entered by hand; no image proves it.")
    return tuple(notes)


def _facts(delta: MapDelta) -> tuple[tuple[str, str | None], ...]:
    s = delta.summary

    def text(value: float | None) -> str | None:
        return None if value is None else f"{number(value, delta.decimals, sign=True)} {delta.unit}".strip()

    percent = None
    if s.percent_minimum is not None and s.percent_maximum is not None:
        percent = f"{number(s.percent_minimum, 1, sign=True)} to {number(s.percent_maximum, 1, sign=True)} %"
    return (
        ("Cells changed", f"{s.changed} of {s.cells}"),
        ("Smallest to largest change", None if s.minimum is None else f"{text(s.minimum)} to {text(s.maximum)}"),
        ("Mean over all cells", text(s.mean)),
        ("Mean over changed cells", text(s.mean_of_changed)),
        ("In percent of before", percent),
        ("Compared", s.compared),
    )
