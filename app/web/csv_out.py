"""Tables that leave as CSV files."""

from collections.abc import Iterable, Sequence

from fastapi.responses import Response

from app.calc.csv_text import Cell, csv_text
from app.web.download import attachment


def csv_download(name: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Response:
    """A download in UTF-8. It begins with a byte order mark: spreadsheets take a file without one for their
    country's old code page."""
    return attachment(csv_text(header, rows).encode("utf-8-sig"), f"{name}.csv", "text/csv; charset=utf-8")
