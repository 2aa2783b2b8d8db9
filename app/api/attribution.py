"""What a result is attributed to, as JSON."""

from collections.abc import Mapping

from app.api.model import ApiIn, ApiOut
from app.record.tables import Attribution


class AttributionIn(ApiIn):
    """revision_id null: stock was on the control unit."""

    control_unit_id: int
    revision_id: int | None
    reason: str


class AttributionOut(ApiOut):
    control_unit_id: int
    revision_id: int | None
    reason: str


def attributions_out(found: Mapping[int, Attribution]) -> list[AttributionOut]:
    return [AttributionOut.model_validate(one) for _, one in sorted(found.items())]
