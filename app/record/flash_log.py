"""Taking a write to a control unit on record."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.calibration.checksum import ChecksumResult, evaluate_all
from app.calc.calibration.checksum_json import results_to_json
from app.errors import BadInput, Conflict
from app.record import images, layouts, revisions, stocks, vehicles
from app.record.tables import ControlUnit, Flash, Person, Revision, Stock

OUTCOMES = ("completed", "failed", "aborted")


@dataclass(frozen=True, slots=True)
class NewFlash:
    """What was written and how it went. revision_id None: stock was written. Volts at the unit's supply.

    happened_anyway : a write that should not have been made was made; happened_reason then says how that came.
    """

    revision_id: int | None
    outcome: str
    supply_before_v: float | None
    supply_lowest_v: float | None
    sha256: str | None = None
    note: str = ""
    flashed_at: dt.datetime | None = None
    happened_anyway: bool = False
    happened_reason: str = ""


def add(session: Session, *, person: Person, at: dt.datetime, control_unit_id: int, flash: NewFlash) -> Flash:
    """The row of the write.

    Raises BadInput when the digest typed from the flash tool is not that of the image on record, Conflict when the
    image belongs to another unit, and Conflict when it is withdrawn or one of its block checksums does not hold,
    unless the write has happened anyway: the record refuses no fact, it flags it.
    """
    unit = vehicles.control_unit(session, control_unit_id)
    _check_fields(flash)
    node = _node(session, unit, flash)
    _check_digest(flash, node)
    results = _checksums(session, node)
    if not flash.happened_anyway:
        _require_not_withdrawn(session, node)
        _require_held(results, past=True)
    row = Flash(
        control_unit_id=unit.id,
        revision_id=node.id if isinstance(node, Revision) else None,
        stock_id=node.id if isinstance(node, Stock) else None,
        sha256=node.sha256,
        flashed_at=flash.flashed_at or at,
        supply_before_v=flash.supply_before_v,
        supply_lowest_v=flash.supply_lowest_v,
        outcome=flash.outcome,
        checksums=results_to_json(results),
        note=" ".join(text for text in (flash.note.strip(), flash.happened_reason.strip()) if text),
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def supply_words(row: Flash) -> str:
    """The supply during a write, for a sentence."""
    return "supply voltage not noted" if row.supply_lowest_v is None else f"lowest supply {row.supply_lowest_v:.1f} V"


def low_supply(row: Flash, minimum_v: float) -> float | None:
    """The supply voltage of a write that lay below the shop's minimum; the one before where no lowest was noted."""
    noted = row.supply_before_v if row.supply_lowest_v is None else row.supply_lowest_v
    return None if noted is None or noted >= minimum_v else noted


def supply_rose(row: Flash) -> bool:
    """Whether the lowest voltage lies above the one before. It is taken on record: a supply that is connected between
    the first reading and the write raises it, so it need not be a slip."""
    before, lowest = row.supply_before_v, row.supply_lowest_v
    return before is not None and lowest is not None and lowest > before


def broken_checksums(row: Flash) -> list[str]:
    """Names of the block checksums that did not hold in the image that was written."""
    return [str(one["name"]) for one in row.checksums if one["state"] == "does not hold"]


def _check_fields(flash: NewFlash) -> None:
    if flash.outcome not in OUTCOMES:
        raise BadInput(f"Say how the write ended: {', '.join(OUTCOMES)}.", field="outcome")
    if flash.happened_anyway and len(flash.happened_reason.strip()) < 3:
        raise BadInput("Write how it came that this was written.", field="happened_reason")
    before, lowest = flash.supply_before_v, flash.supply_lowest_v
    for field, value in (("supply_before_v", before), ("supply_lowest_v", lowest)):
        if value is not None and not 0 < value < 60:
            raise BadInput(
                f"{value} V cannot be the supply voltage of a car; type volts, for example 13.5.", field=field
            )
    if before is not None and lowest is not None and lowest > before + 3:
        raise BadInput(
            f"The lowest voltage ({lowest} V) lies above the one before ({before} V); were the two swapped?",
            field="supply_lowest_v",
        )


def _node(session: Session, unit: ControlUnit, flash: NewFlash) -> Revision | Stock:
    if flash.revision_id is None:
        stock = stocks.current(session, unit.id)
        if stock is None:
            raise Conflict("No stock is confirmed for this control unit: read it twice before anything is flashed.")
        return stock
    revision = revisions.revision(session, flash.revision_id)
    revisions.require_same_unit(revision, unit.id)
    return revision


def _require_not_withdrawn(session: Session, node: Revision | Stock) -> None:
    if isinstance(node, Stock):
        return
    decision = revisions.decisions(session, [node.id]).get(node.id)
    if decision is not None and decision.decision == "withdrawn":
        raise Conflict(
            f"Revision {node.number} was withdrawn: {decision.reason.rstrip('.')}. Choose another one; if it has been "
            "written already, log it with the confirmation that it happened, and why.",
            field="revision_id",
        )


def _check_digest(flash: NewFlash, node: Revision | Stock) -> None:
    typed = (flash.sha256 or "").strip().lower()
    if typed and node.sha256 is not None and (len(typed) < 8 or not node.sha256.startswith(typed)):
        raise BadInput(
            f"The digest {typed[:16]} is not that of the image on record ({node.sha256[:16]}…): "
            "the file in the flash tool is another one. Do not flash it.",
            field="sha256",
        )


def held_checksums(session: Session, node: Revision | Stock) -> list[dict[str, object]]:
    """Block checksums of an image, computed now; Conflict when one of them does not hold."""
    results = _checksums(session, node)
    _require_held(results)
    return results_to_json(results)


def _checksums(session: Session, node: Revision | Stock) -> list[ChecksumResult]:
    if node.sha256 is None:
        return []
    layout_id = None
    if isinstance(node, Stock):
        layout_id = node.layout_id
    elif (analysis := revisions.analysis(session, node.id)) is not None:
        layout_id = analysis.layout_id
    if layout_id is None:
        return []
    definitions = layouts.definitions(session, layouts.layout(session, layout_id))
    assert definitions is not None
    return list(evaluate_all(images.load(session, node), definitions.checksums_in_image))


def _require_held(results: Sequence[ChecksumResult], *, past: bool = False) -> None:
    broken = [result for result in results if result.state == "does not hold"]
    if broken:
        if_written = " If it has been written already, log it with the confirmation that it happened, and why."
        raise Conflict(
            f"Block checksum “{broken[0].name}” of this image does not hold: flashing it can leave the control unit "
            "dead. Have the editing tool correct it and log the corrected file as a revision."
            + (if_written if past else ""),
            field="revision_id",
            details=[f"{r.name}: stored {r.stored:X}, computed {r.computed:X}" for r in broken if r.stored is not None],
        )
