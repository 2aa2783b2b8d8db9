"""Recompute what the record says changed: every stored comparison, from its images and its layout version."""

from collections.abc import Callable

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.calibration.delta import compare
from app.calc.calibration.delta_pack import pack_map_delta
from app.errors import AppError
from app.record import layouts, revisions
from app.record.tables import Analysis, MapDelta, Revision

Progress = Callable[[str, int, int], None]


def check_deltas(session: Session, findings: list[str], progress: Progress | None) -> int:
    """Every comparison must add up (explained + checksum + unexplained = all changed bytes), and be what comes out
    when it is made again; a comparison entered by hand can only add up. Returns how many were checked."""
    rows = session.execute(
        select(Analysis, Revision).join(Revision, Revision.id == Analysis.revision_id).order_by(Analysis.id)
    ).all()
    for number, (row, revision) in enumerate(rows, start=1):
        name = f"Comparison {row.id} of revision {revision.id}"
        parts = row.explained_bytes + row.checksum_bytes + row.unexplained_bytes
        if parts != row.changed_bytes:
            findings.append(f"{name}: its parts add up to {parts} bytes, but {row.changed_bytes} changed.")
        try:
            finding = _recomputed(session, row, revision)
        except AppError as error:
            finding = f"cannot be made again: {error.sentence}"
        if finding:
            findings.append(f"{name}: {finding}")
        if progress is not None:
            progress("comparisons", number, len(rows))
    return len(rows)


def _recomputed(session: Session, row: Analysis, revision: Revision) -> str:
    """What differs from a fresh comparison, empty when nothing does or there are no images."""
    after = revisions.image_of_node(session, revision)
    before = revisions.image_of_node(session, revisions.base_of(session, revision))
    if after is None or before is None:
        return ""
    layout = None if row.layout_id is None else layouts.layout(session, row.layout_id)
    found = compare(before, after, layouts.definitions(session, layout))
    if found.changed_bytes != row.changed_bytes or found.sentence != row.sentence:
        return f"recorded “{row.sentence}”, made again “{found.sentence}”."
    stored = session.scalars(select(MapDelta).where(MapDelta.analysis_id == row.id).order_by(MapDelta.position)).all()
    if [one.name for one in stored] != [delta.name for delta in found.deltas]:
        return "other maps come out as changed when it is made again."
    for one, delta in zip(stored, found.deltas, strict=True):
        if one.data != pack_map_delta(delta):
            return f"map {one.name} comes out differently when it is made again."
    return ""
