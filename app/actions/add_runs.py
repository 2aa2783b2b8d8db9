"""Add the pulls of one uploaded file to a dyno session."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.calc.dyno.roller_pull import RollerPull
from app.errors import BadInput, Conflict
from app.readers.dyno_csv import DynoFile
from app.record import channels, content, dyno, journal
from app.record.channels import Channels
from app.record.tables import Person, Run


@dataclass(frozen=True, slots=True)
class NewRuns:
    """One file: the pulls found in it, the columns recognised, findings such as typing slips, start conditions."""

    pulls: Sequence[Channels]
    columns: list[dict[str, Any]]
    findings: list[Any]
    start_coolant_c: float | None = None
    start_intake_c: float | None = None
    battery_soc_percent: float | None = None

    @classmethod
    def of_file(
        cls,
        found: DynoFile,
        *,
        start_coolant_c: float | None = None,
        start_intake_c: float | None = None,
        battery_soc_percent: float | None = None,
    ) -> "NewRuns":
        """The pulls of a file as it was understood, with what was noticed on the way."""
        return cls(
            pulls=[pull.channels for pull in found.pulls],
            columns=[asdict(column) for column in found.columns],
            findings=[*found.notes, *(slip.sentence for slip in found.slips)],
            start_coolant_c=start_coolant_c,
            start_intake_c=start_intake_c,
            battery_soc_percent=battery_soc_percent,
        )

    @classmethod
    def of_roller_speed(cls, pull: RollerPull) -> "NewRuns":
        """The one pull of a log of roller speed; what was assumed for its power stays with it."""
        made = pull.channels
        return cls(
            pulls=[] if made is None else [made],
            columns=[
                _computed("power_kw", "kW", "from roller speed"),
                _computed("torque_nm", "N·m", "from power and engine speed"),
            ],
            findings=[pull.assumed],
        )


def _computed(quantity: str, unit: str, header: str) -> dict[str, Any]:
    return {
        "header": f"computed {header}",
        "quantity": quantity,
        "unit": unit,
        "confidence": "computed",
        "measured_at": "wheels",
        "corrected": False,
    }


def add_runs(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    dyno_session_id: int,
    uploaded: bytes,
    file_name: str,
    runs: NewRuns,
    inbox_item_id: int | None = None,
) -> list[Run]:
    """Keep the original file and each pull's channels; the same file twice in one session is refused."""
    row = dyno.dyno_session(session, dyno_session_id)
    if not runs.pulls:
        raise BadInput("No pull was found in this file: it needs engine speed with torque or power.", field="file")
    digest = content.put(session, uploaded, at=at)
    for known in dyno.runs_of(session, [row.id])[row.id]:
        if known.run.sha256 == digest:
            raise Conflict(
                f"This file is in the session already as pull {known.run.position} ({known.run.file_name}).",
                field="file",
            )
    position = dyno.next_position(session, row.id)
    added = []
    for offset, pull in enumerate(runs.pulls):
        run = Run(
            dyno_session_id=row.id,
            position=position + offset,
            inbox_item_id=inbox_item_id,
            sha256=digest,
            file_name=file_name,
            columns=runs.columns,
            channels=channels.pack(pull),
            start_coolant_c=runs.start_coolant_c,
            start_intake_c=runs.start_intake_c,
            battery_soc_percent=runs.battery_soc_percent,
            findings=runs.findings,
            at=at,
            by_id=person.id,
        )
        session.add(run)
        added.append(run)
    session.flush()
    place = dyno.dyno(session, row.dyno_id).name
    which = f"Pull {position}" if len(added) == 1 else f"Pulls {position} to {added[-1].position}"
    journal.append(
        session,
        at=at,
        person=person,
        action="add runs",
        sentence=f"{which} added to the {row.purpose} session on {place}.",
        vehicle_id=row.vehicle_id,
        subject=("dyno_session", row.id),
        facts={"sha256": digest},
    )
    return added
