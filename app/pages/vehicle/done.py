"""What was just done to a car, with the way back where there is one."""

import re
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.record import vehicles
from app.record.tables import Vehicle
from app.web.page import when


@dataclass(frozen=True, slots=True)
class Done:
    """place : "car" or "files", where on the page it is told; href and button: the act that takes it back."""

    place: str
    sentence: str
    href: str
    button: str


def done_of(session: Session, vehicle: Vehicle, word: str) -> Done | None:
    """What the word in the address stands for, as long as it is still so; None for anything else."""
    base = f"/vehicles/{vehicle.id}"
    if word == "pinned" and vehicle.pinned:
        return Done("car", "The car is pinned: it stands at the top of Today for everybody.", f"{base}/pin", "Unpin it")
    if word == "unpinned" and not vehicle.pinned:
        return Done("car", "The car is no longer pinned.", f"{base}/pin", "Pin it again")
    if word == "left":
        return _left(session, vehicle)
    found = re.fullmatch(r"file-([0-9]{1,9})", word, re.ASCII)
    return None if found is None else _taken_back(session, vehicle, int(found[1]))


def _left(session: Session, vehicle: Vehicle) -> Done | None:
    visit = vehicles.last_visit(session, vehicle.id)
    if visit is None or visit.left_at is None:
        return None
    sentence = f"The car was handed over, {when(visit.left_at)}."
    return Done("car", sentence, f"/vehicles/{vehicle.id}/reopen", "It is still here: take it back")


def _taken_back(session: Session, vehicle: Vehicle, attachment_id: int) -> Done | None:
    gone = (row for row, _ in vehicles.taken_back(session, vehicle.id) if row.id == attachment_id)
    row = next(gone, None)
    if row is None:
        return None
    return Done("files", f"{row.file_name} was taken back.", f"/attachments/{row.id}/restore", "Attach it again")
