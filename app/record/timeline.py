"""A car's history, newest first, from its journal entries."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.record.journal import EntryView, view
from app.record.tables import JournalEntry

# What each act belongs to, for the filters of the timeline.
TOPICS = {
    "identity": (
        "register vehicle",
        "take in vehicle",
        "change vehicle",
        "change customer",
        "erase customer",
        "add control unit",
        "check identity",
        "accept identity",
    ),
    "visits": ("begin visit", "end visit", "reopen visit", "attach file", "withdraw attachment", "scan faults"),
    "calibration": (
        "read stock",
        "confirm stock",
        "log revision",
        "enter deltas",
        "recompute deltas",
        "port revision",
        "kept revision",
        "released revision",
        "withdrawn revision",
        "issue release package",
    ),
    "flashes": (
        "log flash",
        "read back",
        "write coding back",
        "waive coding",
        "first start",
        "keep coding",
        "take returned files",
    ),
    "measurements": (
        "record dyno session",
        "add runs",
        "decide run",
        "put back file",
        "attribute",
        "record strip run",
        "record economy trial",
        "set limit",
        "reinstate limit",
    ),
    "restore": (
        "open restore",
        "close step",
        "override step",
        "sign off restore",
        "issue certificate",
        "abandon restore",
    ),
}
_TOPIC_OF = {action: topic for topic, actions in TOPICS.items() for action in actions}


@dataclass(frozen=True, slots=True)
class Happening:
    """One line of the history: when, who, what, and what it is about (kind, id).

    contradicts : what was found is not what was expected or written, or it was decided without evidence.
    """

    seq: int
    at: dt.datetime
    person: str
    topic: str
    action: str
    sentence: str
    subject: tuple[str, int | str] | None
    contradicts: bool


def of_vehicle(
    session: Session, vehicle_id: int, *, topic: str | None = None, before: int | None = None, limit: int = 40
) -> list[Happening]:
    """Entries of a car below number `before`, of one topic or all."""
    query = (
        select(JournalEntry).where(JournalEntry.vehicle_id == vehicle_id).order_by(JournalEntry.seq.desc()).limit(limit)
    )
    if topic in TOPICS:
        query = query.where(JournalEntry.action.in_(TOPICS[topic]))
    if before is not None:
        query = query.where(JournalEntry.seq < before)
    return [_happening(view(entry)) for entry in session.scalars(query)]


def _happening(entry: EntryView) -> Happening:
    """What an entry tells; one that was taken in from another workshop tells when and by whom it was there."""
    at, person = entry.at, entry.person
    origin = entry.facts.get("taken_in")
    if isinstance(origin, dict):
        at, person = dt.datetime.fromisoformat(str(origin["at"])), f"{origin['person']}, elsewhere"
    topic = _TOPIC_OF.get(entry.action, "other")
    return Happening(entry.seq, at, person, topic, entry.action, entry.sentence, entry.subject, _contradicts(entry))


def _contradicts(entry: EntryView) -> bool:
    """Told by what the act put on record, not by its words."""
    facts = entry.facts
    return (
        facts.get("equal") is False
        or facts.get("matches") is False
        or facts.get("outcome") in ("failed", "aborted", "not verified")
        or entry.action == "override step"
    )
