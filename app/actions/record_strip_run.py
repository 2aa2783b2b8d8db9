"""Record a strip run from its slip."""

import datetime as dt
from itertools import pairwise

from sqlalchemy.orm import Session

from app.errors import BadInput
from app.record import attributions, journal, vehicles
from app.record.tables import Attribution, Person, StripRun

# Each figure of a slip as the journal says it.
_SAID = {
    "et_60ft_s": "60 ft in {:g} s",
    "et_330ft_s": "330 ft in {:g} s",
    "et_660ft_s": "660 ft in {:g} s",
    "trap_660ft_kmh": "{:g} km/h at 660 ft",
    "et_1000ft_s": "1000 ft in {:g} s",
    "et_1320ft_s": "1320 ft in {:g} s",
    "trap_1320ft_kmh": "{:g} km/h at 1320 ft",
    "t_0_60mph_s": "0 to 60 mph in {:g} s",
    "t_0_100kmh_s": "0 to 100 km/h in {:g} s",
}
FIELDS = tuple(_SAID)
_ELAPSED = ("et_60ft_s", "et_330ft_s", "et_660ft_s", "et_1000ft_s", "et_1320ft_s")


def record_strip_run(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    results: dict[str, float],
    place: str,
    how: str,
    note: str = "",
    run_at: dt.datetime | None = None,
) -> StripRun:
    """Keep elapsed times (s) and trap speeds (km/h); times that run backwards are refused."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    unknown = set(results) - set(FIELDS)
    if unknown or not results:
        raise BadInput(f"Give at least one of {', '.join(FIELDS)}.", field="results")
    if any(value <= 0 for value in results.values()):
        raise BadInput("Elapsed times and speeds are above zero; check the slip.", field="results")
    times = [(key, results[key]) for key in _ELAPSED if key in results]
    for (near, before), (far, after) in pairwise(times):
        if after <= before:
            later, earlier = _SAID[far].format(after), _SAID[near].format(before)
            raise BadInput(f"{later} is not after {earlier}; check the slip.", field=far)
    if results.get("t_0_60mph_s", 0.0) >= results.get("t_0_100kmh_s", float("inf")):
        raise BadInput("100 km/h is more than 60 mph, so 0 to 100 km/h takes longer; check both.", field="t_0_100kmh_s")
    row = StripRun(
        vehicle_id=vehicle.id,
        run_at=run_at or at,
        place=place.strip(),
        how=how.strip(),
        results=dict(results),
        note=note.strip(),
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    for unit_id, revision_id in attributions.suggested(session, vehicle.id, row.run_at).items():
        session.add(
            Attribution(
                strip_run_id=row.id,
                control_unit_id=unit_id,
                revision_id=revision_id,
                reason="from the flash log by time",
                at=at,
                by_id=person.id,
            )
        )
    journal.append(
        session,
        at=at,
        person=person,
        action="record strip run",
        sentence="Strip run recorded: "
        + ", ".join(_SAID[key].format(results[key]) for key in FIELDS if key in results)
        + ".",
        vehicle_id=vehicle.id,
        subject=("strip_run", row.id),
    )
    return row
