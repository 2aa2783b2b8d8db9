"""Set what the shop wants to be warned about when a calibration changes."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.delta_warnings import WarningRules
from app.errors import Conflict
from app.record import journal, warning_rules
from app.record.tables import Person


def change_warning_rules(session: Session, *, person: Person, at: dt.datetime, wanted: WarningRules) -> None:
    """Keep the rules for comparisons from now on; those made before keep their warnings. Conflict when nothing
    differs."""
    before, after = warning_rules.rules(session).to_json(), wanted.to_json()
    if before == after:
        raise Conflict("These are the rules in force already.")
    warning_rules.store(session, wanted)
    journal.append(
        session,
        at=at,
        person=person,
        action="change warning rules",
        sentence="Rules for warnings about changed maps set.",
        facts={"before": before, "after": after},
    )
