"""A row as JSON and back, without loss: moments as RFC 3339, bytes as base64."""

import base64
import binascii
import datetime as dt
from typing import Any

from sqlalchemy import JSON, Boolean, Float, Integer, LargeBinary, String, inspect
from sqlalchemy.orm import ColumnProperty
from sqlalchemy.types import TypeEngine

from app.errors import BadInput
from app.record.base import UTC, Base


def columns(table: type[Base]) -> dict[str, ColumnProperty[Any]]:
    """Column name → mapped attribute."""
    return {one.columns[0].name: one for one in inspect(table).column_attrs}


def row_to_json(row: Base) -> dict[str, Any]:
    """Column name → plain value."""
    return {name: _plain(getattr(row, one.key)) for name, one in columns(type(row)).items()}


def _plain(value: Any) -> Any:
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat(timespec="microseconds")
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def values_from_json(table: type[Base], given: Any) -> dict[str, Any]:
    """Attribute → value, for the constructor of `table`; BadInput for a column missing, unknown, or of another kind."""
    known = columns(table)
    name = str(table.__tablename__)
    if not isinstance(given, dict) or set(given) != set(known):
        raise BadInput(
            f"A row of {name} has other columns than this program knows; was the bag made by another version?"
        )
    return {one.key: _value(given[column], one.columns[0].type, f"{name}.{column}") for column, one in known.items()}


def _value(given: Any, kind: TypeEngine[Any], where: str) -> Any:
    if given is None:
        return None
    if isinstance(kind, UTC) and isinstance(given, str):
        return _moment(given, where)
    if isinstance(kind, LargeBinary) and isinstance(given, str):
        try:
            return base64.b64decode(given, validate=True)
        except (binascii.Error, ValueError):
            raise BadInput(f"{where} holds no base64 text.") from None
    fits = (
        (isinstance(kind, Boolean) and isinstance(given, bool))
        or (isinstance(kind, Integer) and isinstance(given, int) and not isinstance(given, bool))
        or (isinstance(kind, Float) and isinstance(given, int | float) and not isinstance(given, bool))
        or (isinstance(kind, String) and isinstance(given, str))
        or (isinstance(kind, JSON) and isinstance(given, dict | list))
    )
    if not fits:
        raise BadInput(f"{where} holds a value of another kind.")
    return float(given) if isinstance(kind, Float) else given


def _moment(text: str, where: str) -> dt.datetime:
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise BadInput(f"{where} holds no moment.") from None
    if moment.tzinfo is None:
        raise BadInput(f"{where} holds a moment without its time zone.")
    return moment
