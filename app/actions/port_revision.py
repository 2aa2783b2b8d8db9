"""Take what a revision changed over to another base image, as a new revision of that control unit."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.calibration.delta import compare
from app.errors import Conflict
from app.record import analyses, images, journal, ports, revisions, vehicles, warning_rules
from app.record.ports import Computed, Wanted
from app.record.revisions import NewRevision
from app.record.tables import Person, Revision

__all__ = ["NewRevision", "Wanted", "port_revision"]

CAUTION = "Computed, not validated on a vehicle."


def port_revision(
    session: Session, *, person: Person, at: dt.datetime, wanted: Wanted, revision: NewRevision
) -> Revision:
    """Keep the computed image with its block checksums made to hold, the report, and what it changes.

    `revision.parent_id` is not used: the target is the parent. Raises what `ports.compute` raises, and Conflict when
    the target would not change.
    """
    revision.check()
    found = ports.compute(session, wanted)
    image, base = found.result.image, found.base
    if image.digest == base.digest:
        raise Conflict("Nothing would change in the target: no map could be ported, or it has these values already.")
    fields = images.store(
        session,
        image,
        uploaded=image.payload,
        file_format="computed",
        file_name=f"ported from revision {found.source.number}",
        at=at,
        base=found.target.row,
        base_image=base,
    )
    row = revisions.add(
        session,
        person=person,
        at=at,
        unit_id=found.target.unit.id,
        new=_on_target(revision, found),
        kind="ported",
        stock_id=found.target.row.stock_id if isinstance(found.target.row, Revision) else found.target.row.id,
        image=fields,
        ported_from_id=found.source.id,
        port_report=found.result.report.to_json() | {"since": wanted.since, "target": found.target.key},
    )
    comparison = warning_rules.warned(
        session,
        compare(base, image, found.definitions),
        found.definitions,
        lambda: revisions.stock_image(session, row),
    )
    analyses.store(session, comparison, revision_id=row.id, layout_id=found.layout.id, at=at, by_id=person.id)
    unit = vehicles.control_unit(session, row.control_unit_id)
    journal.append(
        session,
        at=at,
        person=person,
        action="port revision",
        sentence=f"Revision {row.number} “{row.title}” of {unit.role} computed from revision {found.source.number} "
        f"(id {found.source.id}): {found.result.report.sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("revision", row.id),
        facts={"sha256": row.sha256, "ported_from_id": found.source.id, "mode": wanted.mode, "since": wanted.since},
    )
    return row


def _on_target(revision: NewRevision, found: Computed) -> NewRevision:
    """What was said of it, made from the target."""
    target = found.target.row
    return NewRevision(
        title=revision.title,
        purpose=revision.purpose,
        parent_id=target.id if isinstance(target, Revision) else None,
        fuel_requirement=revision.fuel_requirement or found.source.fuel_requirement,
        hardware_requirement=revision.hardware_requirement or found.source.hardware_requirement,
    )
