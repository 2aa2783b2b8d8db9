"""A map's change as charts: heat map, cross-section through the pointed cell, surface."""

from typing import Any

from app.calc.calibration.map_delta import DeltaAxis, Grid, MapDelta
from app.calc.number_text import unit_of
from app.pages.diff.map_cells import limit_of, plain, rows_of


def heatmap(delta: MapDelta, grid: Grid, point: tuple[int, int]) -> dict[str, Any]:
    """The difference, blue for less and orange for more, and the cell that is pointed at."""
    frame = _frame(delta, grid)
    frame["z"]["values"] = plain(grid.change)
    return {"kind": "heatmap", **frame, "scale": "difference", "limit": limit_of(grid), "point": list(point)}


def section(delta: MapDelta, grid: Grid, point: tuple[int, int]) -> dict[str, Any]:
    """Before and after along both axes through one cell."""
    return {
        "kind": "section",
        **_frame(delta, grid),
        "series": [
            {"name": "Before", "role": "before", "z": plain(grid.before)},
            {"name": "After", "role": "after", "z": plain(grid.after)},
        ],
        "point": list(point),
    }


def surface(delta: MapDelta, grid: Grid) -> dict[str, Any]:
    """The map as it is after the change."""
    frame = _frame(delta, grid)
    frame["z"]["values"] = plain(grid.after)
    return {"kind": "surface", **frame, "scale": "amount"}


def _frame(delta: MapDelta, grid: Grid) -> dict[str, Any]:
    rows, columns = rows_of(grid.change).shape
    return {
        "x": _axis(grid.axes[0] if grid.axes else None, columns, "Cell"),
        "y": None if rows == 1 else _axis(grid.axes[1] if len(grid.axes) > 1 else None, rows, "Row"),
        "z": {"label": delta.name, "unit": unit_of(delta.unit)},
    }


def _axis(axis: DeltaAxis | None, length: int, otherwise: str) -> dict[str, Any]:
    if axis is None or len(axis.values) != length:
        return {"label": otherwise, "unit": "", "values": list(range(1, length + 1))}
    return {"label": axis.name or "Axis", "unit": unit_of(axis.unit), "values": plain(axis.values)[0]}
