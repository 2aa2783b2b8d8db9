"""What a column can hold, checked before a row is written: SQLite would take it all, PostgreSQL would fail."""

import json
from collections.abc import Iterator
from functools import cache
from typing import Any

from sqlalchemy import BigInteger, Integer, String, event, inspect
from sqlalchemy.orm import Session
from sqlalchemy.types import TypeEngine

from app.errors import BadInput
from app.record.base import Base

_ENCODER = json.JSONEncoder(ensure_ascii=False)


def refuse_what_does_not_fit(session: Session) -> None:
    """Check every row that `session` is about to write; BadInput names the column."""
    event.listen(session, "before_flush", _check_rows)


def _check_rows(session: Session, _context: Any, _instances: Any) -> None:
    for row in (*session.new, *session.dirty):
        if isinstance(row, Base):
            _check_row(row)


def _check_row(row: Base) -> None:
    given = row.__dict__
    for key, name, longest, bits in _columns(type(row)):
        value = given.get(key)
        if isinstance(value, str):
            _check_text(value, name, longest)
        elif isinstance(value, (dict, list)):
            if not _is_plain(value):
                for text in _texts(value):
                    _check_text(text, name, None)
        elif isinstance(value, int) and value.bit_length() > bits:
            raise BadInput(f"{_spoken(name)} cannot be as large as {value:.3g}.", field=name)


@cache
def _columns(kind: type[Base]) -> tuple[tuple[str, str, int | None, int], ...]:
    """Attribute, column name, most characters and most bits of each column."""
    found = [(attribute.key, attribute.columns[0]) for attribute in inspect(kind).column_attrs]
    return tuple(
        (key, column.name, column.type.length if isinstance(column.type, String) else None, _bits(column.type))
        for key, column in found
    )


def _is_plain(value: Any) -> bool:
    """True when no text in it can be at fault: the usual case, seen at once in what is written of it."""
    try:
        written = _ENCODER.encode(value)
    except (TypeError, ValueError):
        return False
    return "\\u0000" not in written and _is_text(written)


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
