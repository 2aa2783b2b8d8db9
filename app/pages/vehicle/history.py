"""A car's history as lines of the timeline; files of pulls that came one after the other make one line."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from sqlalchemy.orm import Session

from app.pages.links import page_of
from app.record import dyno
from app.record.timeline import Happening
from app.web.page import rfc3339, when

_ICONS = {
    "identity": "vehicle",
    "visits": "time",
    "calibration": "revision",
    "flashes": "flash",
    "measurements": "dyno",
    "restore": "restore",
    "other": "journal",
}


def lines(session: Session, happenings: Sequence[Happening]) -> tuple[dict[str, Any], ...]:
    """Newest first, as they come; each line as the timeline component takes it."""
    found = []
    for _, group in groupby(happenings, key=_together):
        several = list(group)
        line = _line(several[0])
        if len(several) > 1:
            line["title"] = _pulls(session, several)
            line["detail"] = f"{several[0].person} · entries {several[-1].seq} to {several[0].seq}"
        found.append(line)
    return tuple(found)


def _together(one: Happening) -> tuple[object, ...]:
    return ("pulls", one.subject, one.person) if one.action == "add runs" else ("alone", one.seq)


def _pulls(session: Session, several: Sequence[Happening]) -> str:
    subject = several[0].subject
    assert subject is not None
    row = dyno.dyno_session(session, int(subject[1]))
    place = dyno.dyno(session, row.dyno_id).name
    return f"Pulls of {len(several)} files added to the {row.purpose} session on {place}."


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
