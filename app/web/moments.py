"""Moments as people type them: date and time in the workshop's zone."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from app.errors import BadInput


def read_moment(text: str, zone: ZoneInfo, *, now: datetime, field: str, label: str) -> datetime | None:
    """ "2026-11-25T14:03" or "2026-11-25 14:03" in the workshop's zone; None for an empty field.

    Raises BadInput for what is no date and time, and for one that has not come yet: results are of the past.
    """
    if not text.strip():
        return None
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(
            f"{label}: “{text.strip()[:40]}” is no date and time like 2026-11-25 14:03.", field=field
        ) from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    if moment > now + timedelta(minutes=5):
        raise BadInput(f"{label} lies in the future; check the date.", field=field)
    return moment
