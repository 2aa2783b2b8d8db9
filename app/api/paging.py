"""Pages of a list: `limit` and an opaque `cursor` that names the last row seen, so depth costs nothing."""

import base64
import binascii
from collections.abc import Callable, Sequence
from typing import Annotated, Generic, TypeVar

from fastapi import Query

from app.api.model import ApiOut
from app.errors import BadInput

T = TypeVar("T")
Row = TypeVar("Row")

Limit = Annotated[int, Query(ge=1, le=200, description="Rows per page.")]
Cursor = Annotated[str | None, Query(max_length=200, description="next_cursor of the page before.")]


class ListPage(ApiOut, Generic[T]):
    items: list[T]
    next_cursor: str | None = None


def encode_cursor(*values: int | str) -> str:
    text = "\x1f".join(str(value) for value in values)
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def decode_cursor(cursor: str, count: int) -> tuple[str, ...]:
    """The values of a cursor; raises `BadInput` for one that was not made here."""
    try:
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
    except (binascii.Error, ValueError):
        raise BadInput("This cursor was not made by this list; start without one.", field="cursor") from None
    values = tuple(text.split("\x1f"))
    if len(values) != count:
        raise BadInput("This cursor was not made by this list; start without one.", field="cursor")
    return values


def decode_number(cursor: str | None) -> int | None:
    """The cursor of a list in the order of one whole number."""
    if cursor is None:
        return None
    (text,) = decode_cursor(cursor, 1)
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise BadInput("This cursor was not made by this list; start without one.", field="cursor")
    return int(text)


def cut(rows: Sequence[Row], limit: int, cursor_of: Callable[[Row], str]) -> tuple[Sequence[Row], str | None]:
    """From limit + 1 rows asked for: those of this page, and the cursor of the next one if there is a next one."""
    if len(rows) <= limit:
        return rows, None
    return rows[:limit], cursor_of(rows[limit - 1])
