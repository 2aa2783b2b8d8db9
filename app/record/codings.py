"""Coding snapshots between the content store and the calculation."""

import json

from sqlalchemy.orm import Session

from app.calc.vehicle.coding import CodingSnapshot as Coding
from app.record import content
from app.record.tables import CodingSnapshot


def load(session: Session, row: CodingSnapshot) -> Coding:
    """Modules, keys and values of a stored snapshot."""
    return Coding.of(json.loads(content.fetch(session, row.sha256)))
