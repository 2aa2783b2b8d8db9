"""What a new restore is proposed with, read from the record."""

import re
from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.record import car_state, codings, flashes, restore_pulls, revisions, vehicles
from app.record.settings import shop

_BETWEEN_PARTS = re.compile(r"[;\n]+")


@dataclass(frozen=True, slots=True)
class Defaults:
    """Control units that are not known to be on stock, the coding as found, the baseline, the shop's margin."""

    unit_ids: tuple[int, ...]
    coding_snapshot_id: int | None
    baseline_session_id: int | None
    margin_percent: float


def proposed(session: Session, vehicle_id: int) -> Defaults:
    """For a car as it stands now."""
    unit_ids = [unit.id for unit in vehicles.control_units(session, vehicle_id)]
    states = car_state.on_units(session, unit_ids)
    snapshots = list(reversed(flashes.coding_snapshots(session, vehicle_id)))
    as_found = [row for row in snapshots if row.occasion.casefold() == codings.AS_FOUND]
    snapshot = next(iter(as_found or snapshots), None)
    baselines = [row for row in restore_pulls.baselines(session, vehicle_id) if row.purpose == "baseline"]
    return Defaults(
        unit_ids=tuple(unit_id for unit_id in unit_ids if states[unit_id].kind != "stock"),
        coding_snapshot_id=None if snapshot is None else snapshot.id,
        baseline_session_id=baselines[0].id if baselines else None,
        margin_percent=shop(session).equivalence_margin_percent,
    )


def parts_to_look_at(session: Session, unit_ids: Collection[int]) -> tuple[str, ...]:
    """Hardware that the revisions required which were written to these units, each part once."""
    written = {row.flash.revision_id for row in flashes.of_units(session, unit_ids)}
    found: dict[str, None] = {}
    for row in revisions.of_units(session, unit_ids):
        if row.id in written:
            found |= {part.strip(): None for part in _BETWEEN_PARTS.split(row.hardware_requirement) if part.strip()}
    return tuple(found)
