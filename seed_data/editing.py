"""Editing a calibration as a tuner does: table by table, region by region."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from seed_data.software import Software
from seed_data.tables import Content, stock_content

Change = Callable[[float, float, float], float]


@dataclass(frozen=True)
class Calibration:
    """Tables that differ from stock, and single cells of tables that nobody described."""

    software: Software
    contents: Mapping[str, Content] = field(default_factory=dict)
    hidden_cells: Mapping[tuple[str, int], int] = field(default_factory=dict)

    def content(self, name: str) -> Content:
        """What the table holds now."""
        return self.contents.get(name) or stock_content(self.software.table(name))

    def edited(self, name: str, change: Change) -> "Calibration":
        """Every cell becomes change(x, y, value), held within what the cell can store."""
        now = self.content(name)
        low, high = self.software.table(name).scale.physical_range
        x, y = now.x or [0.0], now.y or [0.0]
        cells = [
            [min(max(change(x[i], y[k], value), low), high) for i, value in enumerate(row)]
            for k, row in enumerate(now.cells)
        ]
        return replace(self, contents={**self.contents, name: Content(cells, now.x, now.y)})

    def with_breakpoint(self, name: str, position: int, value: float) -> "Calibration":
        """One breakpoint of the table's own y axis moved; the cells stay as they are."""
        now = self.content(name)
        y = [*now.y]
        y[position] = value
        return replace(self, contents={**self.contents, name: Content(now.cells, now.x, y)})

    def with_hidden(self, name: str, cells: Mapping[int, int]) -> "Calibration":
        """Raw values of some cells of an undescribed table."""
        return replace(self, hidden_cells={**self.hidden_cells, **{(name, cell): raw for cell, raw in cells.items()}})


def within(at: float, start: float, full: float, fade: float, end: float) -> float:
    """Weight 0 … 1 of a region: rises from `start` to `full`, falls from `fade` to `end`."""
    if at <= start or at >= end:
        return 0.0
    if at < full:
        return (at - start) / (full - start)
    return 1.0 if at <= fade else (end - at) / (end - fade)


def above(at: float, start: float, full: float) -> float:
    """Weight 0 … 1 that rises from `start` to `full` and stays."""
    return min(max((at - start) / (full - start), 0.0), 1.0)
