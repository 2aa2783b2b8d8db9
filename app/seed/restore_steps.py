"""Restore steps of the demo's story."""

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.actions.close_restore_step import close_restore_step
from app.actions.open_restore import NewRestore, open_restore
from app.actions.override_restore_step import override_restore_step
from app.actions.sign_off_restore import sign_off_restore
from app.calc.restore.verdicts import Part
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.record import restore_evidence as evidence
from app.record.settings import shop
from app.record.tables import Person
from app.seed.story import Story

Step = Mapping[str, Any]


def _open_restore(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    row = open_restore(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        wanted=NewRestore(
            reason=step["reason"],
            unit_ids=tuple(story.id("unit", label) for label in step["control_units"]),
            coding_snapshot_id=story.maybe("coding", step["coding_snapshot"]),
            baseline_session_id=story.maybe("session", step["baseline_session"]),
            margin_percent=shop(session).equivalence_margin_percent,
            two_sign_offs=step["two_sign_offs"],
        ),
    )
    story.name("restore", step["label"], row.id)


def _key(story: Story, step: Step) -> str:
    unit = step.get("control_unit")
    return step["key"] if unit is None else f"{step['key']}.{story.id('unit', unit)}"


def _coding_read(story: Story, step: Step) -> evidence.CodingRead:
    data, name = story.bytes_of(step["file"])
    return evidence.CodingRead(read_coding(data), data, name)


def _faults_read(story: Story, step: Step) -> evidence.FaultsRead:
    text = story.bytes_of(step["file"])[0].decode()
    return evidence.FaultsRead(read_fault_list(text), text)


_EVIDENCE: dict[str, Callable[[Story, Step], evidence.Evidence]] = {
    "identify": lambda story, step: evidence.IdentityOnRecord(story.id("identity_check", step["control_unit"])),
    "secure_stock": lambda story, step: evidence.StockHashed(),
    "supply": lambda story, step: evidence.SupplyMeasured(step["lowest_v"], step["highest_v"]),
    "flash": lambda story, step: evidence.FlashOnRecord(story.id("flash", step["flash"])),
    "read_back": lambda story, step: evidence.ReadBackOnRecord(),
    "write_coding": lambda story, step: evidence.CodingStated(completed=True),
    "compare_coding": _coding_read,
    "parts": lambda story, step: evidence.PartsSeen(tuple(Part(**one) for one in step["parts"])),
    "faults": _faults_read,
    "pull": lambda story, step: evidence.PullsMeasured(story.id("session", step["session"])),
}


def _close_step(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    close_restore_step(
        session,
        person=person,
        at=at,
        restore_id=story.id("restore", step["restore"]),
        key=_key(story, step),
        evidence=_EVIDENCE[step["key"]](story, step),
    )


def _override_step(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    """On screen the manager's password is asked for; nobody in the demo has one."""
    override_restore_step(
        session,
        person=person,
        at=at,
        restore_id=story.id("restore", step["restore"]),
        key=_key(story, step),
        reason=step["reason"],
        password_fits=True,
    )


def _sign_off(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    sign_off_restore(
        session,
        person=person,
        at=at,
        restore_id=story.id("restore", step["restore"]),
        name=person.name,
        password_fits=True,
        zone=ZoneInfo(shop(session).time_zone or "UTC"),
    )


RESTORE_STEPS = {
    "open_restore": _open_restore,
    "close_step": _close_step,
    "override_step": _override_step,
    "sign_off": _sign_off,
}
