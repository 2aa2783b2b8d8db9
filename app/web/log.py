"""The server's log: one JSON line per event, times in UTC. A line break in a value arrives escaped."""

import json
import logging
import traceback
from datetime import UTC, datetime

from fastapi import Request
from sqlalchemy.exc import DBAPIError

_LOGGER = logging.getLogger("revledger")


def log(event: str, request: Request | None = None, *, level: int = logging.INFO, **fields: object) -> None:
    """Write one event. Passwords, tokens and customers' data are never given as fields."""
    line: dict[str, object] = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "event": event}
    if request is not None:
        person = getattr(request.state, "person", None)
        line |= {
            "method": request.method,
            "path": _without_secret(request.url.path),
            "client": request.client.host if request.client else None,
            "person_id": None if person is None else person.id,
        }
    _LOGGER.log(level, json.dumps(line | fields, default=str))


def log_unexpected(request: Request | None, error: BaseException, reference: str) -> None:
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if "site-packages" not in frame.filename or frame is frames[-1]]
    places = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in own]
    log("unexpected error", request, level=logging.ERROR, reference=reference, error=_text(error), places=places)


def _text(error: BaseException) -> str:
    """What happened, without the values of a refused statement."""
    return repr(error.orig) if isinstance(error, DBAPIError) else repr(error)


def _without_secret(path: str) -> str:
    """One-time keys stand in the address; the log keeps the part before them."""
    return "/sign-in/link/…" if path.startswith("/sign-in/link/") else path
