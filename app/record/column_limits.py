"""What a column can hold, checked before a row is written: SQLite would take it all, PostgreSQL would fail."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import BigInteger, Integer, String, event, inspect
from sqlalchemy.orm import Session
from sqlalchemy.types import TypeEngine

from app.errors import BadInput
from app.record.base import Base


def refuse_what_does_not_fit(session: Session) -> None:
    """Check every row that `session` is about to write; BadInput names the column."""
    event.listen(session, "before_flush", _check_rows)


def _check_rows(session: Session, _context: Any, _instances: Any) -> None:
    for row in (*session.new, *session.dirty):
        if isinstance(row, Base):
            _check_row(row)


def _check_row(row: Base) -> None:
    for attribute in inspect(type(row)).column_attrs:
        value = getattr(row, attribute.key) if attribute.key in row.__dict__ else None
        column = attribute.columns[0]
        if isinstance(value, str):
            _check_text(value, column.name, column.type.length if isinstance(column.type, String) else None)
        elif isinstance(value, (dict, list)):
            for text in _texts(value):
                _check_text(text, column.name, None)
        elif isinstance(value, int) and value.bit_length() > _bits(column.type):
            raise BadInput(f"{_spoken(column.name)} cannot be as large as {value:.3g}.", field=column.name)


def _bits(kind: TypeEngine[Any]) -> int:
    """Bits that a whole number in a column of this type may have, besides its sign."""
    return 31 if isinstance(kind, Integer) and not isinstance(kind, BigInteger) else 63


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield str(key)
            yield from _texts(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            yield from _texts(inner)


def _check_text(text: str, name: str, longest: int | None) -> None:
    if longest is not None and len(text) > longest:
        raise BadInput(f"{_spoken(name)} has {len(text):,} characters, {longest:,} fit; shorten it.", field=name)
    if "\0" in text or not _is_text(text):
        raise BadInput(f"{_spoken(name)} holds a character that is no text; type it again.", field=name)


def _is_text(text: str) -> bool:
    """False for half of a surrogate pair, which no encoding can write."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _spoken(name: str) -> str:
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]
