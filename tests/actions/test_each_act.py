"""Each act writes what it says, in one journal entry of its own, and the record verifies afterwards."""

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from sqlalchemy.orm import Session

from app.actions.accept_identity import accept_identity
from app.actions.attach_file import attach_file
from app.actions.attribute import Result, attribute
from app.actions.begin_visit import begin_visit
from app.actions.decide_revision import decide_revision
from app.actions.decide_run import decide_run
from app.actions.end_visit import end_visit
from app.actions.pin_vehicle import pin_vehicle
from app.actions.record_economy_trial import record_economy_trial
from app.actions.record_first_start import record_first_start
from app.actions.record_strip_run import record_strip_run
from app.actions.reinstate_limit import reinstate_limit
from app.actions.reopen_visit import reopen_visit
from app.actions.restore_attachment import restore_attachment
from app.actions.scan_faults import scan_faults
from app.actions.set_limit import NewLimit, ending, set_limit
from app.actions.waive_coding import waive_coding
from app.actions.withdraw_attachment import withdraw_attachment
from app.errors import Conflict
from app.readers.fault_list import read_fault_list
from app.record import content, dyno, limits, vehicles
from app.record.tables import (
    Attachment,
    Attribution,
    CodingWriteBack,
    ControlUnit,
    FirstStart,
    IdentityUpdate,
    JournalEntry,
    ReadBack,
    StockRead,
    Vehicle,
    VehicleLimit,
    Visit,
)
from app.record.verify import verify
from tests.actions.ready import READ, TUNED, Ready, newest, ready
from tests.contents import added, contents
from tests.shop import CODING, LAYOUT, STOCK, changed


@pytest.fixture
def on(session: Session) -> Ready:
    return ready(session)


@dataclass(frozen=True)
class Act:
    """What is done, under which name the journal has it, what it is about, and which rows it adds."""

    do: Callable[[Ready], object]
    name: str
    about: str
    rows: dict[str, int]


def waived(on: Ready) -> None:
    waive_coding(
        on.shop.session, person=on.shop.person, at=on.shop.now(), flash_id=on.flash.id, reason="Written on the bench."
    )


def leave(on: Ready) -> None:
    end_visit(on.shop.session, person=on.shop.person, at=on.shop.now(), vehicle_id=on.vehicle.id)


def arrive(on: Ready, odometer_km: float | None = 81_400.0) -> None:
    begin_visit(
        on.shop.session,
        person=on.shop.person,
        at=on.shop.now(),
        vehicle_id=on.vehicle.id,
        reason="Service.",
        odometer_km=odometer_km,
    )


def attach(on: Ready, data: bytes = b"%PDF signed") -> tuple[Attachment, bool]:
    return attach_file(
        on.shop.session,
        person=on.shop.person,
        at=on.shop.now(),
        vehicle_id=on.vehicle.id,
        uploaded=data,
        file_name="authorisation.pdf",
        kind="authorisation",
    )


def attach_again(on: Ready) -> Attachment:
    row, _ = attach(on)
    who = on.shop.person
    withdraw_attachment(on.shop.session, person=who, at=on.shop.now(), attachment_id=row.id, reason="Wrong car.")
    return restore_attachment(on.shop.session, person=who, at=on.shop.now(), attachment_id=row.id)


def reopen(on: Ready) -> Visit:
    return reopen_visit(on.shop.session, person=on.shop.person, at=on.shop.now(), vehicle_id=on.vehicle.id)


def limited(on: Ready) -> VehicleLimit:
    return set_limit(
        on.shop.session,
        person=on.shop.person,
        at=on.shop.now(),
        vehicle_id=on.vehicle.id,
        limit=NewLimit("lambda_", "max", 0.92),
    )


def limit_again(on: Ready) -> VehicleLimit:
    row = limited(on)
    who = on.shop.person
    set_limit(
        on.shop.session,
        person=who,
        at=on.shop.now(),
        vehicle_id=on.vehicle.id,
        limit=ending(row, "Wrong car."),
        supersedes_id=row.id,
        withdrawn=True,
    )
    return reinstate_limit(on.shop.session, person=who, at=on.shop.now(), limit_id=row.id)


def attributed(on: Ready) -> Attribution:
    return attribute(
        on.shop.session,
        person=on.shop.person,
        at=on.shop.now(),
        result=Result(dyno_session_id=on.measured.id),
        control_unit_id=on.unit.id,
        revision_id=None,
        reason="Stock was still on it.",
    )


ACTS = [
    Act(lambda on: on.shop.car(), "register vehicle", "vehicle", {"vehicle": 1}),
    Act(
        lambda on: on.shop.car(customer_name="R. Halle", odometer_km=12.0),
        "register vehicle",
        "vehicle",
        {"customer": 1, "vehicle": 1, "visit": 1},
    ),
    Act(lambda on: on.shop.unit(on.vehicle, "body"), "add control unit", "control_unit", {"control_unit": 1}),
    Act(
        lambda on: on.shop.read(on.unit, STOCK, new_generation=True),
        "read stock",
        "control_unit",
        {"content": 1, "stock_read": 1},
    ),
    Act(lambda on: on.shop.layout(name="Engine 2"), "add layout", "layout", {"content": 1, "layout": 1}),
    Act(
        lambda on: on.shop.revision(on.unit, changed(TUNED, 0x800), parent=on.revision),
        "log revision",
        "revision",
        {"content": 1, "revision": 1, "analysis": 1},
    ),
    Act(lambda on: on.shop.flash(on.unit), "log flash", "flash", {"flash": 1}),
    Act(lambda on: on.shop.read_back(on.flash, TUNED), "read back", "flash", {"read_back": 1}),
    Act(lambda on: on.shop.coding(on.vehicle), "keep coding", "coding_snapshot", {"coding_snapshot": 1}),
    Act(waived, "waive coding", "flash", {"coding_write_back": 1}),
    Act(lambda on: on.shop.scan(on.unit), "check identity", "identity_check", {"identity_check": 1}),
    Act(
        lambda on: scan_faults(
            on.shop.session,
            person=on.shop.person,
            at=on.shop.now(),
            vehicle_id=on.vehicle.id,
            faults=read_fault_list("P0301 Cylinder 1 misfire\n"),
            text="P0301 Cylinder 1 misfire\n",
            occasion="as found",
        ),
        "scan faults",
        "fault_scan",
        {"fault_scan": 1},
    ),
    Act(attach, "attach file", "attachment", {"content": 1, "attachment": 1}),
    Act(
        lambda on: pin_vehicle(on.shop.session, person=on.shop.person, at=on.shop.now(), vehicle_id=on.vehicle.id),
        "pin vehicle",
        "vehicle",
        {},
    ),
    Act(lambda on: on.shop.dyno("Bay 2"), "add dyno", "dyno", {"dyno": 1}),
    Act(
        lambda on: on.shop.dyno_session(on.vehicle, on.dyno),
        "record dyno session",
        "dyno_session",
        {"dyno_session": 1, "attribution": 1},
    ),
    Act(lambda on: on.shop.pull(on.measured, b"other"), "add runs", "dyno_session", {"content": 1, "run": 1}),
    Act(
        lambda on: decide_run(
            on.shop.session,
            person=on.shop.person,
            at=on.shop.now(),
            run_id=on.run.id,
            included=False,
            reason="Wheel spin.",
        ),
        "decide run",
        "dyno_session",
        {"run_decision": 1},
    ),
    Act(attributed, "attribute", "attribution", {"attribution": 1}),
    Act(
        lambda on: decide_revision(
            on.shop.session, person=on.shop.person, at=on.shop.now(), revision_id=on.revision.id, decision="kept"
        ),
        "kept revision",
        "revision",
        {"revision_decision": 1},
    ),
    Act(
        lambda on: record_first_start(
            on.shop.session, person=on.shop.person, at=on.shop.now(), flash_id=on.flash.id, happened_anyway=True
        ),
        "first start",
        "flash",
        {"first_start": 1},
    ),
    Act(
        lambda on: record_strip_run(
            on.shop.session,
            person=on.shop.person,
            at=on.shop.now(),
            vehicle_id=on.vehicle.id,
            results={"et_60ft_s": 2.1, "et_1320ft_s": 13.4},
            place="Airfield",
            how="slip",
        ),
        "record strip run",
        "strip_run",
        {"strip_run": 1, "attribution": 1},
    ),
    Act(
        lambda on: record_economy_trial(
            on.shop.session,
            person=on.shop.person,
            at=on.shop.now(),
            vehicle_id=on.vehicle.id,
            distance_km=100.0,
            fuel_l=7.4,
        ),
        "record economy trial",
        "economy_trial",
        {"economy_trial": 1, "attribution": 1},
    ),
    Act(limited, "set limit", "vehicle_limit", {"vehicle_limit": 1}),
]


@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.name)
def test_an_act_adds_its_rows_and_one_entry_that_names_them(on: Ready, act: Act) -> None:
    session = on.shop.session
    before = contents(session)
    act.do(on)
    assert added(before, session) == act.rows | {"journal_entry": 1}
    entry = newest(session, JournalEntry)
    body = json.loads(entry.body)
    assert (body["action"], body["subject"][0]) == (act.name, act.about)
    assert body["person"] == {"id": on.shop.person.id, "name": "Ada Renn", "role": "tuner"}
    assert body["sentence"]
    assert (entry.vehicle_id is None) == (act.about in ("dyno", "layout"))
    assert verify(session).clean


def test_the_second_equal_read_confirms_stock_in_the_same_entry(on: Ready) -> None:
    unit = on.shop.unit(on.vehicle, "transmission")
    on.shop.read(unit, STOCK)
    before = contents(on.shop.session)
    on.shop.read(unit, STOCK)
    assert added(before, on.shop.session) == {"stock_read": 1, "stock": 1, "journal_entry": 1}
    sentence = json.loads(on.shop.entries()[-1].body)["sentence"]
    assert sentence.endswith("Two reads agree: stock confirmed (generation 1).")


def test_a_dealer_update_is_a_second_generation_and_the_first_stays(on: Ready) -> None:
    later = changed(READ, 0x20, 0x900)
    second = on.shop.stock(on.unit, later, new_generation=True)
    assert (on.stock.generation, second.generation) == (1, 2)
    assert content.fetch(on.shop.session, on.stock.sha256 or "") == READ
    assert content.fetch(on.shop.session, second.sha256 or "") == later


def test_block_checksums_of_a_read_are_judged_by_the_layout_of_the_software(on: Ready) -> None:
    assert [one["state"] for one in newest(on.shop.session, StockRead).checksums] == ["holds"]
    damaged = on.shop.read(on.unit, changed(READ, 0x101), new_generation=True)
    assert [one["state"] for one in damaged.checksums] == ["does not hold"]


def test_a_revision_keeps_what_changed_in_units_of_the_layout(on: Ready) -> None:
    body = json.loads(next(e for e in on.shop.entries() if e.action == "log revision").body)
    tables = [row[0] for row in body["rows"]]
    assert tables == ["content", "revision", "analysis", "map_delta"]
    assert "1 map" in body["sentence"]


def test_the_written_back_coding_is_compared_key_by_key(on: Ready) -> None:
    session = on.shop.session
    other = {"Body": {"long coding": "0A 1F 23"}, "Gateway": {"installed": "01 02"}}
    on.shop.write_back(on.flash, on.coding, on.shop.coding(on.vehicle, other))
    row = newest(session, CodingWriteBack)
    assert not row.equal
    assert [(one["module"], one["key"], one["before"], one["after"]) for one in row.differences] == [
        ("Body", "long coding", "0A 1F 22", "0A 1F 23")
    ]
    on.shop.write_back(on.flash, on.coding, on.shop.coding(on.vehicle, CODING))
    assert newest(session, CodingWriteBack).equal


def test_a_first_start_while_coding_was_pending_says_so_for_good(on: Ready) -> None:
    session = on.shop.session
    record_first_start(session, person=on.shop.person, at=on.shop.now(), flash_id=on.flash.id, happened_anyway=True)
    assert newest(session, FirstStart).coding_was_pending
    assert "while coding was still pending" in on.shop.entries()[-1].body


def test_a_read_back_names_what_differs_and_what_the_unit_rewrites_itself(on: Ready) -> None:
    row = on.shop.read_back(on.flash, changed(TUNED, 0x195))  # a learned value, by the layout
    assert row.equal
    assert "left out" in row.sentence
    row = on.shop.read_back(on.flash, changed(TUNED, 0x195, 0x300))
    assert not row.equal
    assert any("0x300" in str(line) for line in row.differences)
    assert newest(on.shop.session, ReadBack).id == row.id


def test_the_same_file_again_is_recognised_and_adds_nothing(on: Ready) -> None:
    first, known = attach(on)
    assert not known
    before = contents(on.shop.session)
    second, known = attach(on)
    assert known
    assert second.id == first.id
    assert contents(on.shop.session) == before


def test_accepted_numbers_become_the_units_and_the_earlier_ones_stay_in_the_history(on: Ready) -> None:
    session = on.shop.session
    check = on.shop.scan(on.unit, software_number="SW-engine-2", cvns=("12345678",))
    assert not check.matches
    accept_identity(session, person=on.shop.person, at=on.shop.now(), identity_check_id=check.id, reason="Dealer.")
    unit = session.get_one(ControlUnit, on.unit.id)
    assert (unit.software_number, unit.cvns, unit.hardware_number) == ("SW-engine-2", ["12345678"], "HW-engine")
    update = newest(session, IdentityUpdate)
    assert update.before["software_number"] == "SW-engine-1"
    assert on.shop.scan(unit, cvns=("12345678",)).matches


def test_a_visit_begins_and_ends_once_coding_is_settled(on: Ready) -> None:
    session = on.shop.session
    waived(on)
    leave(on)
    assert newest(session, Visit).left_at == on.shop.at
    assert vehicles.open_visit(session, on.vehicle.id) is None
    arrive(on)
    assert vehicles.odometer_km(session, on.vehicle.id) == (81_400.0, on.shop.at)


def test_a_handover_is_taken_back_within_a_day_and_both_stay_in_the_journal(on: Ready) -> None:
    session = on.shop.session
    waived(on)
    leave(on)
    assert reopen(on).left_at is None
    assert vehicles.open_visit(session, on.vehicle.id) is not None
    assert [entry.action for entry in session.query(JournalEntry).order_by(JournalEntry.seq)][-2:] == [
        "end visit",
        "reopen visit",
    ]
    leave(on)
    left = newest(session, Visit).left_at
    assert left is not None
    later = left + dt.timedelta(hours=24, seconds=1)
    with pytest.raises(Conflict, match="book it in anew"):
        reopen_visit(session, person=on.shop.person, at=later, vehicle_id=on.vehicle.id)
    assert newest(session, Visit).left_at == left


def test_a_limit_put_back_takes_the_place_of_its_withdrawal(on: Ready) -> None:
    session = on.shop.session
    row = limit_again(on)
    assert [one.id for one in vehicles.limits(session, on.vehicle.id)] == [row.id]
    assert (row.channel, row.bound, row.value) == ("lambda_", "max", 0.92)
    assert [(one.state, one.why) for one in limits.history(session, on.vehicle.id)] == [
        ("back in force", "Wrong car."),
        ("in force", ""),
    ]
    entry = newest(session, JournalEntry)
    body = json.loads(entry.body)
    assert (body["action"], body["subject"]) == ("reinstate limit", ["vehicle_limit", row.id])
    assert body["sentence"] == "Limit back in force: Lambda max 0.92 λ."
    assert verify(session).clean


def test_a_file_taken_back_is_attached_again_with_all_that_was_said_of_it(on: Ready) -> None:
    session = on.shop.session
    row = attach_again(on)
    assert [(one.id, one.file_name, one.kind) for one in vehicles.attachments(session, on.vehicle.id)] == [
        (row.id, "authorisation.pdf", "authorisation")
    ]
    assert content.fetch(session, row.sha256) == b"%PDF signed"
    assert vehicles.taken_back(session, on.vehicle.id) == []
    assert verify(session).clean


def test_a_result_is_attributed_by_the_flash_log_of_its_own_moment(on: Ready) -> None:
    session = on.shop.session
    on.shop.flash(on.unit)
    suggested = dyno.attributions(session, [on.measured.id])[on.measured.id][on.unit.id]
    assert suggested.revision_id == on.revision.id
    attributed(on)
    assert dyno.attributions(session, [on.measured.id])[on.measured.id][on.unit.id].revision_id is None


def test_a_decision_on_a_pull_can_be_taken_back_and_both_stay(on: Ready) -> None:
    session = on.shop.session
    for included, reason in ((False, "Wheel spin."), (True, "It was another pull.")):
        decide_run(
            session,
            person=on.shop.person,
            at=on.shop.now(),
            run_id=on.run.id,
            included=included,
            reason=reason,
        )
        (record,) = dyno.runs_of(session, [on.measured.id])[on.measured.id]
        assert (record.included, record.reason) == (included, reason)


def test_a_pin_turns_over(on: Ready) -> None:
    for expected in (True, False):
        pin_vehicle(on.shop.session, person=on.shop.person, at=on.shop.now(), vehicle_id=on.vehicle.id)
        assert newest(on.shop.session, Vehicle).pinned is expected


def test_a_layout_grows_by_versions(on: Ready) -> None:
    second = on.shop.layout(LAYOUT.replace(b"boost target", b"boost ceiling"))
    assert (on.layout.version, second.version, second.map_count) == (1, 2, 1)
