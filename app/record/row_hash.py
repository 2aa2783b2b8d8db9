"""The hash of one row, kept in the journal, so that a changed byte in the database file is found."""

import base64
import datetime as dt
import hashlib
from typing import Any

import rfc8785
from sqlalchemy import inspect

from app.record.base import Base


def canonical(value: Any) -> Any:
    """A value as RFC 8785 JSON can carry it: integers beyond 2**53 and bytes become text."""
    if isinstance(value, bool) or value is None or isinstance(value, str):
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


def row_values(row: Base) -> dict[str, Any]:
    """Column name → canonical value of a row."""
    mapper = inspect(type(row))
    return {attribute.columns[0].name: canonical(getattr(row, attribute.key)) for attribute in mapper.column_attrs}


def row_hash(row: Base) -> str:
    """SHA-256 over the row's RFC 8785 JSON, lower-case hex."""
    return hashlib.sha256(rfc8785.dumps(row_values(row))).hexdigest()


def row_key(row: Base) -> str | int:
    """Primary key of a row of one key column."""
    key = inspect(type(row)).primary_key_from_instance(row)[0]
    return key if isinstance(key, (int, str)) else str(key)


def is_append_only(row: Base) -> bool:
    return bool(getattr(type(row), "append_only", False))
