"""A list as a file: the same rows as CSV or as JSON. SI units, named in the head of each column."""

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Literal

from fastapi.responses import JSONResponse, Response

from app.calc.csv_text import Cell
from app.web.csv_out import csv_download
from app.web.page import rfc3339

Ending = Literal["csv", "json"]


def list_file(ending: Ending, name: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Response:
    """A download called `name`, or `{"items": [{column: value}]}`."""
    if ending == "csv":
        return csv_download(name, header, rows)
    return JSONResponse({"items": [dict(zip(header, map(_value, row), strict=True)) for row in rows]})


def _value(cell: Cell) -> str | int | float | bool | None:
    return rfc3339(cell) if isinstance(cell, dt.datetime) else cell
