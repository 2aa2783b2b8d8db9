"""A car's history as lines of the timeline; files of pulls that came one after the other make one line."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from sqlalchemy.orm import Session

from app.pages.limits import limit_words, region_words
from app.pages.links import page_of
from app.pages.results.figures import listed
from app.record import dyno, limits, results, timeline
from app.record.timeline import Happening
from app.web.page import rfc3339, when
from app.web.units_view import UnitsView

# Lines of one page, and the entries read for them: a session of many pulls makes one line.
_LINES = 30
_READ = 200

_ICONS = {
    "identity": "vehicle",
    "visits": "time",
    "calibration": "revision",
    "flashes": "flash",
    "measurements": "dyno",
    "restore": "restore",
    "other": "journal",
}


def history(
    session: Session, vehicle_id: int, units: UnitsView, *, topic: str | None, before: int | None
) -> tuple[tuple[dict[str, Any], ...], int | None]:
    """A page of a car's history and the entry below which the next one begins, None when this is the last.

    Newest first; each line as the timeline component takes it, figures in the reader's units.
    """
    happenings = timeline.of_vehicle(session, vehicle_id, topic=topic, before=before, limit=_READ)
    found: list[dict[str, Any]] = []
    last = before
    for _, group in groupby(happenings, key=_together):
        if len(found) == _LINES:
            return tuple(found), last
        several = list(group)
        line = _line(several[0]) | _in_units(session, several[0], units)
        if len(several) > 1:
            line["title"] = _pulls(session, several)
            line["detail"] = f"{several[0].person} · entries {several[-1].seq} to {several[0].seq}"
        found.append(line)
        last = several[-1].seq
    return tuple(found), last if len(happenings) == _READ else None


def _together(one: Happening) -> tuple[object, ...]:
    return ("pulls", one.subject, one.person) if one.action == "add runs" else ("alone", one.seq)


def _pulls(session: Session, several: Sequence[Happening]) -> str:
    subject = several[0].subject
    assert subject is not None
    row = dyno.dyno_session(session, int(subject[1]))
    place = dyno.dyno(session, row.dyno_id).name
    return f"Pulls of {len(several)} files added to the {row.purpose} session on {place}."


def _in_units(session: Session, one: Happening, units: UnitsView) -> dict[str, Any]:
    """The title of what is a figure itself: the journal has it in the record's units."""
    if one.subject is None:
        return {}
    kind, row_id = one.subject[0], int(one.subject[1])
    if one.action == "record strip run":
        recorded = {name: float(value) for name, value in results.strip_run(session, row_id).results.items()}
        return {"title": f"Strip run: {listed(recorded, units)}."}
    if one.action == "record economy trial":
        trial = results.economy_trial(session, row_id)
        used = units.text(100 * trial.fuel_l / trial.distance_km, "fuel consumption")
        return {"title": f"Economy trial: {used} over {units.text(trial.distance_km, 'distance')}."}
    if one.action in ("set limit", "reinstate limit") and kind == "vehicle_limit":
        row = limits.limit(session, row_id)
        verb = "withdrawn" if row.withdrawn else "set" if row.supersedes_id is None else "replaced"
        verb = verb if one.action == "set limit" else "back in force"
        words = f"{limit_words(row.channel, row.bound, row.value, units)}, {region_words(row)}"
        return {"title": f"Limit {verb}: {words}."}
    return {}


def _line(happening: Happening) -> dict[str, Any]:
    return {
        "when": when(happening.at),
        "at": rfc3339(happening.at),
        "title": happening.sentence,
        "href": page_of(happening.subject),
        "detail": f"{happening.person} · entry {happening.seq}",
        "icon": _ICONS[happening.topic],
        "state": "attention" if happening.contradicts else "info",
    }
