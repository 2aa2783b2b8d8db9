"""Comparisons of revisions with their parents, as the record keeps them."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.calibration.checksum_json import results_to_json
from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta_json import summary_to_json
from app.calc.calibration.delta_pack import pack_map_delta, unpack_map_delta
from app.calc.calibration.map_delta import MapDelta as Delta
from app.record.tables import Analysis, MapDelta


def store(
    session: Session,
    comparison: Comparison,
    *,
    revision_id: int,
    layout_id: int | None,
    at: dt.datetime,
    by_id: int | None,
) -> Analysis:
    """Write one comparison with a row for each changed map."""
    row = Analysis(
        revision_id=revision_id,
        layout_id=layout_id,
        sentence=comparison.sentence,
        changed_bytes=comparison.changed_bytes,
        explained_bytes=comparison.explained_bytes,
        checksum_bytes=comparison.checksum_bytes,
        unexplained_bytes=comparison.unexplained_bytes,
        unexplained=[
            {
                "address": one.address,
                "length": one.length,
                "changed": one.changed,
                "before": _shown(one.before),
                "after": _shown(one.after),
                "note": one.note,
            }
            for one in comparison.unexplained
        ],
        checksums=results_to_json(comparison.checksums),
        warnings=list(comparison.warnings),
        map_count=len(comparison.deltas),
        at=at,
        by_id=by_id,
    )
    session.add(row)
    session.flush()
    add_deltas(session, row, comparison.deltas, at=at, by_id=by_id)
    return row


SHOWN_BYTES = 64


def _shown(data: bytes | None) -> str | None:
    """The first bytes of a range as hex; all of them are in the images."""
    return None if data is None else data[:SHOWN_BYTES].hex()


def add_deltas(
    session: Session, analysis: Analysis, deltas: Sequence[Delta], *, at: dt.datetime, by_id: int | None
) -> None:
    """One row for each changed map: figures to list and search by, and the whole change packed."""
    for position, delta in enumerate(deltas):
        session.add(
            MapDelta(
                analysis_id=analysis.id,
                position=position,
                name=delta.name,
                kind=delta.kind,
                category=delta.category,
                unit=delta.unit,
                summary={**summary_to_json(delta.summary), "decimals": delta.decimals},
                data=pack_map_delta(delta),
                at=at,
                by_id=by_id,
            )
        )
    session.flush()


def deltas_of(session: Session, analysis_id: int) -> list[Delta]:
    """The changes themselves, in order, as they were computed or entered."""
    packed = session.scalars(
        select(MapDelta.data).where(MapDelta.analysis_id == analysis_id).order_by(MapDelta.position)
    )
    return [unpack_map_delta(bytes(data)) for data in packed]
