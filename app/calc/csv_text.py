"""Tables as CSV text (RFC 4180) that a spreadsheet opens without executing any cell."""

import csv
import datetime as dt
import io
import math
import unicodedata
from collections.abc import Iterable, Sequence

Cell = str | int | float | bool | dt.datetime | None

# What makes a spreadsheet take a cell for a formula (OWASP, "CSV Injection"), after compatibility normalisation, which
# turns full-width forms into these.
_STARTS = "=+-@"
_CONTROLS = "\t\r\n"


def cell_text(value: Cell) -> str:
    """One cell: numbers as numbers, moments as RFC 3339 in UTC, text that could be taken for a formula behind an
    apostrophe.

    >>> cell_text("=1+1"), cell_text(-3.5), cell_text("＝1")
    ("'=1+1", '-3.5', "'＝1")
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ""
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    return "'" + value if is_risky(value) else value


def is_risky(text: str) -> bool:
    """Whether a spreadsheet could take this text for a formula, also after it dropped blanks and what is invisible.

    Apostrophes in front are looked through, so that taking one away again gives every text back.
    """
    text = text.lstrip("'")
    if text[:1] in _CONTROLS and text:
        return True
    for character in text:
        if character.isspace() or unicodedata.category(character) in ("Cc", "Cf"):
            continue
        return unicodedata.normalize("NFKC", character)[:1] in _STARTS
    return False


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """The whole table, lines ended by CR LF. A column's unit stands in its name."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([cell_text(cell) for cell in row] for row in rows)
    return out.getvalue()
