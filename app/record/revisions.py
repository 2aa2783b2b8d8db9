"""Revisions of a control unit's calibration: the tree, their analyses, what was decided about them."""

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, defer

from app.calc.calibration.image import Image
from app.errors import BadInput, Conflict, Damaged, NotFound
from app.record import images, stocks
from app.record.images import ImageFields
from app.record.tables import Analysis, MapDelta, Person, Revision, RevisionDecision, Stock


@dataclass(frozen=True, slots=True)
class NewRevision:
    """What the tuner says of it. parent_id None: made from stock. layout_id None: the one suggested for the unit."""

    title: str
    purpose: str
    parent_id: int | None = None
    layout_id: int | None = None
    fuel_requirement: str = ""
    hardware_requirement: str = ""

    def check(self) -> None:
        """BadInput when title or purpose is missing or too long."""
        for field, value in (("title", self.title), ("purpose", self.purpose)):
            if not value.strip():
                raise BadInput(f"Write the {field}: years later it is what people read first.", field=field)
        for field, value, most in (
            ("title", self.title, 120),
            ("fuel_requirement", self.fuel_requirement, 80),
            ("hardware_requirement", self.hardware_requirement, 200),
        ):
            if len(value.strip()) > most:
                raise BadInput(f"Write at most {most} characters here; the purpose may be longer.", field=field)


def add(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    unit_id: int,
    new: NewRevision,
    kind: str,
    stock_id: int | None,
    image: ImageFields | None = None,
    ported_from_id: int | None = None,
    port_report: dict[str, Any] | None = None,
) -> Revision:
    """Write the row of a revision with the unit's next number; `image` None for one entered by hand."""
    fields: dict[str, Any] = {} if image is None else {**image}
    row = Revision(
        control_unit_id=unit_id,
        number=next_number(session, unit_id),
        parent_id=new.parent_id,
        stock_id=stock_id,
        title=new.title.strip(),
        purpose=new.purpose.strip(),
        kind=kind,
        fuel_requirement=new.fuel_requirement.strip(),
        hardware_requirement=new.hardware_requirement.strip(),
        ported_from_id=ported_from_id,
        port_report=port_report,
        at=at,
        by_id=person.id,
        **fields,
    )
    session.add(row)
    session.flush()
    return row


def revision(session: Session, revision_id: int) -> Revision:
    found = session.get(Revision, revision_id)
    if found is None:
        raise NotFound(f"There is no revision {revision_id}.")
    return found


def of_unit(session: Session, unit_id: int) -> Sequence[Revision]:
    """Oldest first."""
    return session.scalars(select(Revision).where(Revision.control_unit_id == unit_id).order_by(Revision.number)).all()


def of_units(session: Session, unit_ids: Collection[int]) -> Sequence[Revision]:
    return session.scalars(select(Revision).where(Revision.control_unit_id.in_(unit_ids)).order_by(Revision.id)).all()


def next_number(session: Session, unit_id: int) -> int:
    return (session.scalar(select(func.max(Revision.number)).where(Revision.control_unit_id == unit_id)) or 0) + 1


def stock_of(session: Session, row: Revision) -> Stock | None:
    """The stock generation the revision descends from."""
    return None if row.stock_id is None else stocks.stock(session, row.stock_id)


def parent_of(session: Session, row: Revision) -> Revision | Stock | None:
    """What the revision was made from: another revision, or stock; None when no stock was on record."""
    return revision(session, row.parent_id) if row.parent_id is not None else stock_of(session, row)


def base_of(session: Session, row: Revision) -> Revision | Stock | None:
    """What the revision's image is compared with: its parent, or the nearest ancestor that has an image.

    None when no ancestor has one: the revision descends from no stock.
    """
    for ancestor in lineage(session, row)[1:]:
        if ancestor.sha256 is not None:
            return ancestor
    return stock_of(session, row)


def children(session: Session, row: Revision) -> Sequence[Revision]:
    """Revisions made from this one, oldest first."""
    return session.scalars(select(Revision).where(Revision.parent_id == row.id).order_by(Revision.number)).all()


def stock_image(session: Session, row: Revision | Stock) -> Image | None:
    """The image of the stock that a node descends from, or is."""
    stock = row if isinstance(row, Stock) else stock_of(session, row)
    return None if stock is None else images.load(session, stock)


def image_of_node(session: Session, node: Revision | Stock | None) -> Image | None:
    """The image of a node of the tree; None for a revision entered by hand."""
    return None if node is None or node.sha256 is None else images.load(session, node)


def lineage(session: Session, row: Revision) -> list[Revision]:
    """The revision and its ancestors, newest first; Damaged when a revision comes out as its own ancestor."""
    chain, met = [row], {row.id}
    while (parent_id := chain[-1].parent_id) is not None:
        if parent_id in met:
            raise Damaged(
                f"Revision {parent_id} is recorded as its own ancestor: its row was changed outside the program. "
                "Run `revledger verify`, then recover from a backup."
            )
        met.add(parent_id)
        chain.append(revision(session, parent_id))
    return chain


def analysis(session: Session, revision_id: int) -> Analysis | None:
    """The comparison with the parent that is shown: the latest."""
    return session.scalar(
        select(Analysis).where(Analysis.revision_id == revision_id).order_by(Analysis.id.desc()).limit(1)
    )


def analyses_of(session: Session, revision_ids: Collection[int]) -> dict[int, Analysis]:
    """Revision id → latest analysis."""
    rows = session.scalars(select(Analysis).where(Analysis.revision_id.in_(revision_ids)).order_by(Analysis.id))
    return {row.revision_id: row for row in rows}


def analyses(session: Session, revision_id: int) -> Sequence[Analysis]:
    """All analyses of a revision, newest first."""
    return session.scalars(
        select(Analysis).where(Analysis.revision_id == revision_id).order_by(Analysis.id.desc())
    ).all()


def map_deltas(session: Session, analysis_id: int) -> Sequence[MapDelta]:
    """The rows to list, without the packed numbers."""
    return session.scalars(
        select(MapDelta)
        .options(defer(MapDelta.data))
        .where(MapDelta.analysis_id == analysis_id)
        .order_by(MapDelta.position)
    ).all()


def decision_history(session: Session, revision_id: int) -> Sequence[RevisionDecision]:
    """Every decision about a revision, newest first."""
    return session.scalars(
        select(RevisionDecision).where(RevisionDecision.revision_id == revision_id).order_by(RevisionDecision.id.desc())
    ).all()


def decisions(session: Session, revision_ids: Collection[int]) -> dict[int, RevisionDecision]:
    """Revision id → the decision that applies (the latest)."""
    rows = session.scalars(
        select(RevisionDecision).where(RevisionDecision.revision_id.in_(revision_ids)).order_by(RevisionDecision.id)
    )
    return {row.revision_id: row for row in rows}


def require_same_unit(row: Revision, unit_id: int, *, field: str = "revision_id") -> None:
    """Raise Conflict, at the form's `field`, for a revision of another control unit."""
    if row.control_unit_id != unit_id:
        raise Conflict(
            f"Revision {row.number} belongs to another control unit; choose one of this control unit.", field=field
        )
