"""The time of a request, asked once, so that everything one act writes carries the same moment."""

from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends


async def _now() -> datetime:
    return datetime.now(UTC)


Now = Annotated[datetime, Depends(_now)]
