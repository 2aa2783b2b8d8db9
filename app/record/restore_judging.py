"""From the evidence of a restore's step to its verdict, and to the rows that the evidence leaves on record.

Judging writes nothing: `Judged.keep` does, so that the same evidence sent twice is recognised before a second row of
it exists.
"""

import datetime as dt
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.calc.restore import verdicts
from app.calc.restore.plan import Step
from app.calc.restore.verdicts import Verdict
from app.calc.vehicle.coding import compare
from app.calc.vehicle.readiness import parse_readiness
from app.errors import BadInput, Conflict, Damaged, NotFound
from app.record import (
    codings,
    faults,
    flash_log,
    flashes,
    identities,
    images,
    read_backs,
    restore_pulls,
    stocks,
    vehicles,
)
from app.record.restore_evidence import (
    CLOSES,
    CodingRead,
    CodingStated,
    CodingWriteOnRecord,
    Evidence,
    FaultsRead,
    FlashDone,
    FlashOnRecord,
    IdentityOnRecord,
    IdentityScanned,
    PartsSeen,
    PullsMeasured,
    ReadBackFile,
    ReadBackOnRecord,
    ReadinessRead,
    StockHashed,
    SupplyMeasured,
)
from app.record.restores import Case, newest_flash
from app.record.settings import shop
from app.record.tables import CodingSnapshot, Flash, Person, Stock


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict with what was handed in.

    given : plain values, files by their SHA-256. keep : writes the rows and returns what the step refers to by name.
    once : the same `given` again is a repeat; False for a write, which can be done twice with the same figures.
    """

    verdict: Verdict
    given: dict[str, Any]
    keep: Callable[[], dict[str, Any]]
    once: bool = True


@dataclass(frozen=True, slots=True)
class Bench:
    """Where evidence is judged: the case, the step, who hands it in and when."""

    session: Session
    case: Case
    step: Step
    person: Person
    at: dt.datetime

    @property
    def unit_id(self) -> int:
        assert self.step.unit_id is not None, "a step of one control unit"
        return self.step.unit_id

    def stock(self) -> Stock:
        """The unit's stock; Conflict when none is confirmed."""
        found = stocks.current(self.session, self.unit_id)
        if found is None:
            raise Conflict("No stock is confirmed for this control unit; this step can only be overridden.")
        return found

    def flash(self) -> Flash | None:
        """The completed write of stock that this case rests on for the unit; None when that step was overridden."""
        flash_id = self.case.kept(f"flash.{self.unit_id}", "flash_id")
        found = None if flash_id is None else flashes.flash(self.session, flash_id)
        return found if found is not None and found.outcome == "completed" else None

    def since_opened(self, entry_seq: int, what: str, *, told: dt.datetime | None = None) -> None:
        """Raise Conflict for evidence from before the case, by its journal entry or by the time that a person told."""
        restore = self.case.restore
        if entry_seq < restore.entry_seq or (told is not None and told < restore.at):
            raise Conflict(f"{what} is older than this restore; it proves nothing for it. Do it again now.")


def judge(bench: Bench, evidence: Evidence) -> Judged:
    """The verdict on one piece of evidence; BadInput when the step takes another kind."""
    wanted = CLOSES[type(evidence)]
    if wanted != bench.step.evidence:
        raise BadInput(f"The step “{bench.step.title}” is closed by: {bench.step.evidence}. This is: {wanted}.")
    return _JUDGES[type(evidence)](bench, evidence)


def _identity_scanned(bench: Bench, evidence: IdentityScanned) -> Judged:
    unit = vehicles.control_unit(bench.session, bench.unit_id)
    scanned = evidence.scanned
    comparison = identities.compare(bench.session, unit, scanned)

    def keep() -> dict[str, Any]:
        row = identities.keep_check(
            bench.session, person=bench.person, at=bench.at, unit=unit, scanned=scanned, comparison=comparison
        )
        return {"identity_check_id": row.id}

    given = {
        "hardware_number": scanned.hardware_number,
        "software_number": scanned.software_number,
        "calibration_ids": list(scanned.calibration_ids),
        "cvns": list(scanned.cvns),
    }
    return Judged(verdicts.identity_verdict(comparison), given, keep)


def _identity_on_record(bench: Bench, evidence: IdentityOnRecord) -> Judged:
    check = identities.check(bench.session, evidence.identity_check_id)
    if check.control_unit_id != bench.unit_id:
        raise Conflict("That scan is of another control unit.", field="identity_check_id")
    bench.since_opened(check.entry_seq, "That scan")
    given = {"identity_check_id": check.id}
    return Judged(verdicts.identity_verdict(identities.comparison_of(check)), given, lambda: given)


def _stock_hashed(bench: Bench, _evidence: StockHashed) -> Judged:
    stock = bench.stock()
    recorded = stock.sha256 or ""
    try:
        computed = images.load(bench.session, stock).digest
    except (Damaged, NotFound):
        computed = None
    verdict = verdicts.stock_image_verdict(recorded, computed)
    given = {"stock_id": stock.id, "generation": stock.generation, "sha256": recorded}
    return Judged(verdict, given, lambda: {"stock_id": stock.id, "sha256": recorded})


def _supply(bench: Bench, evidence: SupplyMeasured) -> Judged:
    for field in ("lowest_v", "highest_v"):
        value = getattr(evidence, field)
        if not 0 < value < 60:
            raise BadInput(f"{value:g} V cannot be the supply voltage of a car; type volts, like 13.5.", field=field)
    bounds = shop(bench.session)
    allowed = (bounds.supply_minimum_v, bounds.supply_maximum_v)
    verdict = verdicts.supply_verdict(evidence.lowest_v, evidence.highest_v, allowed_v=allowed)
    given = {"lowest_v": evidence.lowest_v, "highest_v": evidence.highest_v, "allowed_v": list(allowed)}
    return Judged(verdict, given, dict)


def _flash_on_record(bench: Bench, evidence: FlashOnRecord) -> Judged:
    flash = flashes.flash(bench.session, evidence.flash_id)
    stock = bench.stock()
    if flash.control_unit_id != bench.unit_id:
        raise Conflict("That write was to another control unit.", field="flash_id")
    if flash.stock_id != stock.id:
        raise Conflict("That write was not of this unit's stock; choose the one that wrote stock.", field="flash_id")
    told = flash.flashed_at if flash.flashed_at != flash.at else None
    bench.since_opened(flash.entry_seq, "That write", told=told)
    newest = newest_flash(bench.session, bench.unit_id)
    if newest is None or newest.id != flash.id:
        raise Conflict("The unit was written again after that; choose the last write.", field="flash_id")
    kept = {"flash_id": flash.id, "sha256": flash.sha256}
    verdict = verdicts.flash_verdict(flash.outcome == "completed", flash.note)
    return Judged(verdict, {"flash_id": flash.id}, lambda: kept)


def _flash_done(bench: Bench, evidence: FlashDone) -> Judged:
    new = evidence.flash
    if new.revision_id is not None:
        raise Conflict("This step takes a write of stock; log a write of a revision on the control unit's page.")
    bench.stock()
    bench.since_opened(bench.case.restore.entry_seq, "That write", told=new.flashed_at)

    def keep() -> dict[str, Any]:
        row = flash_log.add(bench.session, person=bench.person, at=bench.at, control_unit_id=bench.unit_id, flash=new)
        return {"flash_id": row.id, "sha256": row.sha256}

    given = {"outcome": new.outcome, "supply_before_v": new.supply_before_v, "supply_lowest_v": new.supply_lowest_v}
    verdict = verdicts.flash_verdict(new.outcome == "completed", new.note.strip())
    return Judged(verdict, given, keep, once=False)


def _read_back_file(bench: Bench, evidence: ReadBackFile) -> Judged:
    flash = bench.flash()
    if flash is not None:
        verdict = read_backs.compare(bench.session, flash, evidence.image)
    else:
        verdict = read_backs.compare_with_stock(bench.session, bench.stock(), evidence.image)

    def keep() -> dict[str, Any]:
        if flash is None:
            stored = images.store(
                bench.session,
                evidence.image,
                uploaded=evidence.uploaded,
                file_format=evidence.file_format,
                file_name=evidence.file_name,
                at=bench.at,
                base=bench.stock(),
            )
            return {"sha256": stored["sha256"]}
        row = read_backs.add(
            bench.session,
            person=bench.person,
            at=bench.at,
            flash=flash,
            read=evidence.image,
            verdict=verdict,
            uploaded=evidence.uploaded,
            file_name=evidence.file_name,
            file_format=evidence.file_format,
        )
        return {"read_back_id": row.id, "flash_id": flash.id, "sha256": row.sha256}

    return Judged(verdict, {"sha256": evidence.image.digest, "file": _digest(evidence.uploaded)}, keep)


def _read_back_on_record(bench: Bench, _evidence: ReadBackOnRecord) -> Judged:
    flash = bench.flash()
    row = None if flash is None else read_backs.latest(bench.session, flash.id)
    if flash is None or row is None:
        raise Conflict("No read-back of that write is on record yet; upload one.")
    verdict = read_backs.compare(bench.session, flash, images.load(bench.session, row))
    kept = {"read_back_id": row.id, "flash_id": flash.id, "sha256": row.sha256}
    return Judged(verdict, {"read_back_id": row.id}, lambda: kept)


def _coding_stated(bench: Bench, evidence: CodingStated) -> Judged:
    given = {"completed": evidence.completed, "note": evidence.note.strip()}
    snapshot_id = bench.case.restore.coding_snapshot_id
    verdict = verdicts.coding_written_verdict(evidence.completed, evidence.note.strip())
    return Judged(verdict, given, lambda: {"wanted_snapshot_id": snapshot_id})


def _coding_write_on_record(bench: Bench, evidence: CodingWriteOnRecord) -> Judged:
    found = flashes.record(bench.session, evidence.flash_id)
    unit = vehicles.control_unit(bench.session, found.flash.control_unit_id)
    if unit.vehicle_id != bench.case.restore.vehicle_id:
        raise Conflict("That write was to another car.", field="flash_id")
    row = found.write_back
    if row is None or row.wanted_snapshot_id is None or row.read_snapshot_id is None:
        raise Conflict("No write-back of the coding with a comparison is on record for that flash.", field="flash_id")
    bench.since_opened(row.entry_seq, "That write-back")
    wanted = _wanted(bench)
    if flashes.coding_snapshot(bench.session, row.wanted_snapshot_id).digest != wanted.digest:
        raise Conflict("That write-back was of another snapshot than this restore's.", field="flash_id")
    read = codings.load(bench.session, flashes.coding_snapshot(bench.session, row.read_snapshot_id))
    kept = {"coding_write_back_id": row.id, "flash_id": row.flash_id, "wanted_snapshot_id": row.wanted_snapshot_id}
    verdict = verdicts.coding_verdict(codings.load(bench.session, wanted), read)
    return Judged(verdict, {"coding_write_back_id": row.id}, lambda: kept)


def _coding_read(bench: Bench, evidence: CodingRead) -> Judged:
    session, restore = bench.session, bench.case.restore
    wanted = _wanted(bench)
    coding = codings.load(session, wanted)

    def keep() -> dict[str, Any]:
        row = codings.keep(
            session,
            person=bench.person,
            at=bench.at,
            vehicle_id=restore.vehicle_id,
            coding=evidence.coding,
            occasion=f"after the write-back, restore {restore.number}",
            uploaded=evidence.uploaded,
            file_name=evidence.file_name,
        )
        kept = {"wanted_snapshot_id": wanted.id, "coding_snapshot_id": row.id, "digest": row.digest}
        written = flashes.of_vehicle(session, restore.vehicle_id)
        if written:
            proof = codings.write_back(
                session,
                person=bench.person,
                at=bench.at,
                flash_id=max(one.flash.id for one in written),
                wanted_id=wanted.id,
                read_id=row.id,
                comparison=compare(coding, evidence.coding),
            )
            kept |= {"coding_write_back_id": proof.id, "flash_id": proof.flash_id}
        return kept

    given = {"digest": evidence.coding.digest, "file": _digest(evidence.uploaded)}
    return Judged(verdicts.coding_verdict(coding, evidence.coding), given, keep)


def _faults_read(bench: Bench, evidence: FaultsRead) -> Judged:
    restore = bench.case.restore
    scans = vehicles.fault_scans(bench.session, restore.vehicle_id)
    before = [scan for scan in scans if scan.entry_seq < restore.entry_seq]
    as_found = faults.faults_of(before[-1].faults) if before else ()

    def keep() -> dict[str, Any]:
        row = faults.keep(
            bench.session,
            person=bench.person,
            at=bench.at,
            vehicle_id=restore.vehicle_id,
            faults=evidence.faults,
            text=evidence.text,
            occasion=f"after clearing, restore {restore.number}",
        )
        return {"fault_scan_id": row.id}

    verdict = verdicts.faults_verdict(evidence.faults, as_found=as_found)
    return Judged(verdict, {"text": evidence.text}, keep)


def _readiness_read(bench: Bench, evidence: ReadinessRead) -> Judged:
    if not evidence.readings:
        raise BadInput("Enter the readiness bytes of at least one control unit.", field="readiness")
    read = [(name.strip() or "control unit", parse_readiness(text)) for name, text in evidence.readings]
    given = {"readings": [{"control_unit": name, "bytes": text} for name, text in evidence.readings]}
    return Judged(verdicts.readiness_verdict(read), given, dict)


def _parts_seen(bench: Bench, evidence: PartsSeen) -> Judged:
    if any(not part.name.strip() for part in evidence.parts):
        raise BadInput("Each part needs a name.", field="parts")
    given = {"parts": [{"name": p.name, "stock_fitted": p.stock_fitted, "note": p.note} for p in evidence.parts]}
    return Judged(verdicts.parts_verdict(evidence.parts), given, dict)


def _pulls_measured(bench: Bench, evidence: PullsMeasured) -> Judged:
    restore = bench.case.restore
    restore_pulls.require_fit(bench.session, restore, bench.case.unit_ids, evidence.session_id)
    verdict = restore_pulls.judged(bench.session, restore, evidence.session_id)
    given = {"session_id": evidence.session_id, "margin_percent": restore.margin_percent}
    kept = {"session_id": evidence.session_id, "baseline_session_id": restore.baseline_session_id}
    return Judged(verdict, given, lambda: kept)


def _wanted(bench: Bench) -> CodingSnapshot:
    snapshot_id = bench.case.restore.coding_snapshot_id
    if snapshot_id is None:
        raise Conflict("This restore has no coding snapshot to compare with; this step can only be overridden.")
    return flashes.coding_snapshot(bench.session, snapshot_id)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


_JUDGES: dict[type[Evidence], Callable[[Bench, Any], Judged]] = {
    IdentityScanned: _identity_scanned,
    IdentityOnRecord: _identity_on_record,
    StockHashed: _stock_hashed,
    SupplyMeasured: _supply,
    FlashOnRecord: _flash_on_record,
    FlashDone: _flash_done,
    ReadBackFile: _read_back_file,
    ReadBackOnRecord: _read_back_on_record,
    CodingStated: _coding_stated,
    CodingWriteOnRecord: _coding_write_on_record,
    CodingRead: _coding_read,
    FaultsRead: _faults_read,
    ReadinessRead: _readiness_read,
    PartsSeen: _parts_seen,
    PullsMeasured: _pulls_measured,
}
