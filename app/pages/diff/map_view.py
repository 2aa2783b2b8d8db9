"""One changed map for the page: its numbers as a table, and the charts beside it."""

from dataclasses import dataclass
from typing import Any

from app.calc.calibration.map_delta import DeltaAxis, Grid, MapDelta
from app.calc.number_text import unit_of, with_unit
from app.pages.diff import map_charts
from app.pages.diff.map_cells import limit_of, rows_of, state_table, table_of
from app.pages.diff.words import facts_of, notes_of, number, sentence_of

SHOWS = (("change", "Difference"), ("percent", "Percent"), ("before", "Before"), ("after", "After"))
# Beyond this a table of cells is no longer read by people and slows the page down.
MOST_CELLS = 8_192


@dataclass(frozen=True, slots=True)
class AxisMoved:
    """Breakpoints before and after."""

    name: str
    unit: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class MapView:
    """What the panel of one map shows.

    `table` is None for a single value and where no point can be compared; in the latter case there are `sides`.
    """

    name: str
    kind: str
    category: str
    sentence: str
    notes: tuple[str, ...]
    texts: tuple[str, str] | None
    table: dict[str, Any] | None
    sides: tuple[tuple[str, dict[str, Any]], ...]
    heatmap: dict[str, Any] | None
    section: dict[str, Any] | None
    surface: dict[str, Any] | None
    start: tuple[int, int]
    limits: tuple[str, str]
    axes: tuple[AxisMoved, ...]
    facts: tuple[tuple[str, str | None], ...]


def map_view(delta: MapDelta, show: str, point: tuple[int, int] | None = None) -> MapView:
    """Numbers and charts of one map; `show` is one of SHOWS, `point` the cell to start at, else the largest change."""
    grid = delta.grid if delta.kind != "text" else None
    drawn = grid is not None and 1 < grid.change.size <= MOST_CELLS
    point = _start(delta, grid, point)
    texts = delta.kind == "text"
    limit = "" if grid is None else number(limit_of(grid), delta.decimals)
    flat = grid is not None and grid.change.ndim == 2 and min(grid.change.shape) > 1
    return MapView(
        name=delta.name,
        kind=delta.kind,
        category=delta.category,
        sentence=sentence_of(delta),
        notes=(*notes_of(delta), *_too_large(grid)),
        texts=(_text(delta.state_before.texts), _text(delta.state_after.texts)) if texts else None,
        table=table_of(delta, grid, show) if grid is not None and drawn else None,
        sides=() if grid is not None or texts else _sides(delta),
        heatmap=map_charts.heatmap(delta, grid, point) if grid is not None and drawn else None,
        section=map_charts.section(delta, grid, point) if grid is not None and drawn else None,
        surface=map_charts.surface(delta, grid) if grid is not None and drawn and flat else None,
        start=point,
        limits=(with_unit(f"\u2212{limit}", delta.unit), with_unit(f"+{limit}", delta.unit)),
        axes=_moved(delta),
        facts=facts_of(delta),
    )


def _text(texts: tuple[str, ...]) -> str:
    return texts[0] if texts else ""


def _too_large(grid: Grid | None) -> tuple[str, ...]:
    if grid is None or grid.change.size <= MOST_CELLS:
        return ()
    return (f"{grid.change.size:,} cells are too many for a page; the download holds them all.",)


def _sides(delta: MapDelta) -> tuple[tuple[str, dict[str, Any]], ...]:
    states = (("Before", delta.state_before), ("After", delta.state_after))
    return tuple((title, state_table(delta, state)) for title, state in states if state.values.size <= MOST_CELLS)


def _start(delta: MapDelta, grid: Grid | None, wanted: tuple[int, int] | None) -> tuple[int, int]:
    """The cell that is wanted where the map has it, else that of the largest change."""
    if wanted is not None and grid is not None:
        rows, columns = rows_of(grid.change).shape
        if wanted[0] < rows and wanted[1] < columns:
            return wanted
    index = () if delta.summary.largest is None else delta.summary.largest.index
    if len(index) == 2:
        return index[0], index[1]
    return 0, index[0] if index else 0


def _moved(delta: MapDelta) -> tuple[AxisMoved, ...]:
    before, after = delta.axes_before, delta.axes_after
    if len(before) != len(after):
        return ()
    return tuple(
        AxisMoved(new.name or which, unit_of(new.unit), _points(old), _points(new))
        for which, old, new, moved in zip(("x axis", "y axis"), before, after, delta.summary.axes_changed, strict=False)
        if moved
    )


def _points(axis: DeltaAxis) -> str:
    return "  ".join(number(value, axis.decimals) for value in axis.values.tolist())
