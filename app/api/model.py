"""Base of everything that the API takes and gives."""

from datetime import UTC, datetime
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainSerializer


def _aware(value: object) -> object:
    """JSON has no datetime: the text of RFC 3339 is parsed here, since strict models take no text."""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise ValueError("must be a date and time like 2026-11-25T14:03:00Z") from None
    if isinstance(value, datetime) and value.tzinfo is None:
        raise ValueError("must carry its time zone, like 2026-11-25T14:03:00Z")
    return value


def _write(value: datetime) -> str:
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


# RFC 3339 in, RFC 3339 in UTC out.
Time = Annotated[datetime, BeforeValidator(_aware), PlainSerializer(_write, return_type=str, when_used="json")]


class ApiIn(BaseModel):
    """A request body: unknown fields, numbers in text, true as 1 and NaN are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, str_strip_whitespace=True)


class ApiOut(BaseModel):
    """A response: built from plain values; NaN cannot leave."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, from_attributes=True)
