"""Revisions of a control unit's calibration: the tree, their analyses, what was decided about them."""

from collections.abc import Collection, Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.errors import Conflict, NotFound
from app.record import images, stocks
from app.record.tables import Analysis, MapDelta, Revision, RevisionDecision, Stock


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


def image_of_node(session: Session, node: Revision | Stock | None) -> Image | None:
    """The image of a node of the tree; None for a revision entered by hand."""
    return None if node is None or node.sha256 is None else images.load(session, node)


def lineage(session: Session, row: Revision) -> list[Revision]:
    """The revision and its ancestors, newest first."""
    chain = [row]
    while chain[-1].parent_id is not None:
        chain.append(revision(session, chain[-1].parent_id))
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
    return session.scalars(
        select(MapDelta).where(MapDelta.analysis_id == analysis_id).order_by(MapDelta.position)
    ).all()


def decisions(session: Session, revision_ids: Collection[int]) -> dict[int, RevisionDecision]:
    """Revision id → the decision that applies (the latest)."""
    rows = session.scalars(
        select(RevisionDecision).where(RevisionDecision.revision_id.in_(revision_ids)).order_by(RevisionDecision.id)
    )
    return {row.revision_id: row for row in rows}


def require_same_unit(row: Revision, unit_id: int) -> None:
    if row.control_unit_id != unit_id:
        raise Conflict(
            f"Revision {row.number} belongs to another control unit; choose a parent of this one.", field="parent_id"
        )
