"""Cuts a table into its head (names, units, groups of columns) and the runs of rows that belong together."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.unit_labels import parse_unit
from app.readers.dyno_columns import PULL, RecognisedColumn
from app.readers.table_dialect import Block, Row, Table, number


def head(block: Block, width: int, decimal: str) -> tuple[list[str], list[str], list[str]]:
    """Headers, units and group names of the columns, from the rows of text above a block; blank where absent."""
    rows = [list(row.cells) + [""] * (width - len(row.cells)) for row in block.above if len(row.cells) <= width + 1]
    rows = [row[:width] for row in rows]
    blank = [""] * width
    units = rows.pop() if len(rows) > 1 and _stands_under_names(rows[-1], rows[-2]) else blank
    if not rows:
        # Without names: columns are called by their place, so that a profile can still say what they are.
        return [f"column {i + 1}" for i in range(width)], units, blank
    headers = rows.pop()
    if sum(bool(cell) for cell in headers) < 2 and rows:
        headers = rows.pop()
    groups = blank
    if rows and len(block.above[-1].cells) > 1 and sum(bool(cell) for cell in rows[-1]) >= 1:
        groups = _spread_groups(rows[-1], headers)
    return [cell or f"column {i + 1}" for i, cell in enumerate(headers)], units, groups


def _stands_under_names(cells: list[str], above: list[str]) -> bool:
    """Units below the names of their columns; names such as "rpm" below the names of groups are no units row."""
    return _is_units_row(cells) and sum(map(bool, above)) >= sum(map(bool, cells))


def _is_units_row(cells: list[str]) -> bool:
    written = [cell for cell in cells if cell]
    known = sum(parse_unit(cell) is not None or cell in ("-", "[-]", "[]") for cell in written)
    return len(written) >= 2 and known >= 0.6 * len(written)


def _spread_groups(cells: list[str], headers: list[str]) -> list[str]:
    """A group's name stands over its first column only; it holds up to the next name. One name is no grouping."""
    if len({cell for cell in cells if cell}) < 2 or len(set(headers)) == len([h for h in headers if h]):
        return [""] * len(cells)
    spread, current = [], ""
    for cell in cells:
        current = cell or current
        spread.append(current)
    return spread


def pieces(table: Table, headers: list[str]) -> tuple[list[tuple[str | None, list[Row]]], list[str]]:
    """The runs of rows that belong together: a repeated header starts a new one, a damaged line does not."""
    pieces: list[tuple[str | None, list[Row]]] = []
    notes: list[str] = []
    for block in table.blocks:
        repeated = any(_same_header(row, headers) for row in block.above)
        if not pieces or repeated or not block.above:
            pieces.append((_title(block, headers), list(block.rows)))
        else:
            notes += [f"Line {row.line} is not numbers and was left out." for row in block.above]
            pieces[-1][1].extend(block.rows)
    if len(pieces) == 1:
        return [(None, pieces[0][1])], notes
    return pieces, notes


def _title(block: Block, headers: list[str]) -> str | None:
    """The last line above a block that is neither its header nor its units: the name of what follows."""
    others = [row for row in block.above if not _same_header(row, headers) and not _is_units_row(list(row.cells))]
    return " ".join(cell for cell in others[-1].cells if cell)[:60] if others else None


def _same_header(row: Row, headers: list[str]) -> bool:
    named = [cell for cell in row.cells if cell]
    return len(named) >= 2 and set(named) <= set(headers)


@dataclass(frozen=True, slots=True)
class Part:
    """Rows that belong together: the numbers of every column, the words of the column that names the pulls."""

    label: str | None
    numbers: list[NDArray[np.float64]]
    words: list[str] | None
    lines: NDArray[np.int64]


def part(label: str | None, rows: list[Row], columns: list[RecognisedColumn], decimal: str, width: int) -> Part:
    naming = next((c.index for c in columns if c.quantity == PULL), None)
    cells = [row.cells + ("",) * (width - len(row.cells)) for row in rows]
    wanted = {c.index for c in columns if c.quantity}
    numbers = [
        np.array([_or_nan(row[i], decimal) for row in cells]) if i in wanted else np.empty(0) for i in range(width)
    ]
    words = [row[naming] for row in cells] if naming is not None else None
    return Part(label, numbers, words, np.array([row.line for row in rows], dtype=np.int64))


def _or_nan(cell: str, decimal: str) -> float:
    value = number(cell, decimal)
    return float("nan") if value is None else value
