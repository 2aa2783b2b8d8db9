"""The hash of one row, kept in the journal, so that a changed byte in the database file is found."""

import base64
import datetime as dt
import hashlib
import json
import re
from functools import cache
from typing import Any

import rfc8785
from sqlalchemy import inspect

from app.record.base import Base

# What Python's own encoder writes otherwise than RFC 8785: floats with an exponent or a decimal zero (ECMAScript has
# other bounds for them), keys beyond U+D7FF (which are ordered as UTF-16) and halves of surrogate pairs. Found inside
# a string they cost only time.
_EXPONENT, _DECIMAL_ZERO = re.compile("[0-9]e[-+]"), re.compile("[.]0(?![0-9])")
_BEYOND = re.compile("[\ud800-\U0010ffff]")
_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def canonical_json(value: Any) -> bytes:
    """RFC 8785 JSON of a value's canonical form.

    The encoder in C writes the same bytes for nearly every row, many times faster; the rest is left to the library.
    """
    plain = canonical(value)
    try:
        quick = _ENCODER.encode(plain)
    except ValueError:  # a number that is none: refused below
        return rfc8785.dumps(plain)
    return rfc8785.dumps(plain) if _written_otherwise(quick) else quick.encode()


def _written_otherwise(quick: str) -> bool:
    return bool(
        _DECIMAL_ZERO.search(quick)
        or (("e-" in quick or "e+" in quick) and _EXPONENT.search(quick))
        or (not quick.isascii() and _BEYOND.search(quick))
    )


def canonical(value: Any) -> Any:
    """A value as RFC 8785 JSON can carry it: integers beyond 2**53 and bytes become text."""
    if isinstance(value, (str, bool)) or value is None:
        return value
    if isinstance(value, int):
        return value if abs(value) < 2**53 else str(value)
    if isinstance(value, float):
        return int(value) if value.is_integer() and abs(value) < 2**53 else value
    if isinstance(value, bytes):
        return "sha256:" + hashlib.sha256(value).hexdigest() if len(value) > 64 else base64.b64encode(value).decode()
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat(timespec="microseconds")
    if isinstance(value, dict):
        return {str(k): canonical(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [canonical(v) for v in value]
    raise TypeError(f"no canonical form for {type(value).__name__}")


@cache
def _columns(kind: type[Base]) -> tuple[tuple[str, str], ...]:
    """Column name and attribute of a table."""
    return tuple((attribute.columns[0].name, attribute.key) for attribute in inspect(kind).column_attrs)


def row_hash(row: Base) -> str:
    """SHA-256 over the row's RFC 8785 JSON, lower-case hex."""
    values = {name: getattr(row, key) for name, key in _columns(type(row))}
    return hashlib.sha256(canonical_json(values)).hexdigest()


def row_key(row: Base) -> str | int:
    """Primary key of a row of one key column."""
    key = inspect(type(row)).primary_key_from_instance(row)[0]
    return key if isinstance(key, (int, str)) else str(key)


def is_append_only(row: Base) -> bool:
    return bool(getattr(type(row), "append_only", False))
