"""What an act refuses, with which sentence at which field; and that a refusal leaves nothing behind."""

from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from app.actions.accept_identity import accept_identity
from app.actions.add_runs import NewRuns, add_runs
from app.actions.attach_file import attach_file
from app.actions.attribute import Result, attribute
from app.actions.begin_visit import begin_visit
from app.actions.decide_revision import decide_revision
from app.actions.decide_run import decide_run
from app.actions.end_visit import end_visit
from app.actions.log_flash import NewFlash, log_flash
from app.actions.record_economy_trial import record_economy_trial
from app.actions.record_first_start import record_first_start
from app.actions.record_session import NewSession, record_session
from app.actions.record_strip_run import record_strip_run
from app.actions.set_limit import NewLimit, set_limit
from app.actions.waive_coding import waive_coding
from app.errors import AppError, BadInput, Conflict, NotFound
from app.record.tables import ControlUnit, Revision
from tests.actions.ready import READ, TUNED, Ready, ready
from tests.contents import contents
from tests.shop import STOCK, changed

NOBODY = 1_000_000


@pytest.fixture
def on(session: Session) -> Ready:
    return ready(session)


def by(on: Ready) -> dict[str, object]:
    return {"person": on.shop.person, "at": on.shop.now()}


def flash(on: Ready, **known: object) -> object:
    fields = {
        "revision_id": on.revision.id,
        "outcome": "completed",
        "supply_before_v": 13.4,
        "supply_lowest_v": 13.1,
        **known,
    }
    return log_flash(on.shop.session, **by(on), control_unit_id=on.unit.id, flash=NewFlash(**fields))  # type: ignore[arg-type]  # one field is wrong on purpose


def decide(on: Ready, decision: str, **known: object) -> object:
    return decide_revision(on.shop.session, **by(on), revision_id=on.revision.id, decision=decision, **known)  # type: ignore[arg-type]  # as above


def withdrawn_then_flashed(on: Ready) -> object:
    decide(on, "withdrawn", reason="It knocks.")
    return flash(on)


def measured(on: Ready, **known: object) -> object:
    conditions = NewSession(**{"dyno_id": on.dyno.id, **known})  # type: ignore[arg-type]  # as above
    return record_session(on.shop.session, **by(on), vehicle_id=on.vehicle.id, conditions=conditions)  # type: ignore[arg-type]  # as above


def limited(on: Ready, **known: object) -> object:
    limit = NewLimit(**{"channel": "lambda_", "bound": "max", "value": 0.92, **known})  # type: ignore[arg-type]  # as above
    return set_limit(on.shop.session, **by(on), vehicle_id=on.vehicle.id, limit=limit)  # type: ignore[arg-type]  # as above


def slip(on: Ready, **results: float) -> object:
    return record_strip_run(
        on.shop.session, **by(on), vehicle_id=on.vehicle.id, results=results, place="Airfield", how="slip"
    )  # type: ignore[arg-type]  # as above


def stocked(on: Ready, role: str) -> ControlUnit:
    """Another unit of the car, its stock confirmed."""
    unit = on.shop.unit(on.vehicle, role)
    on.shop.stock(unit, STOCK)
    return unit


def broken_revision(on: Ready) -> Revision:
    """A revision whose block checksum does not hold may be logged; it must not be flashed."""
    return on.shop.revision(on.unit, changed(TUNED, 0x110), title="Unfinished")


def attributed(on: Ready, unit_id: int, revision_id: int | None = None, **known: object) -> object:
    result = Result(**(known or {"dyno_session_id": on.measured.id}))  # type: ignore[arg-type]  # as above
    return attribute(
        on.shop.session,
        **by(on),  # type: ignore[arg-type]  # as above
        result=result,
        control_unit_id=unit_id,
        revision_id=revision_id,
        reason="Seen on the car.",
    )


Refused = tuple[str, Callable[[Ready], object], type[AppError], str | None, str]
REFUSED: list[Refused] = [
    # registering a car
    ("VIN with O", lambda on: on.shop.car(vin="U9ZSHP2A5KO000001"), BadInput, "vin", "Position 11 holds the letter O"),
    ("VIN too short", lambda on: on.shop.car(vin="U9ZSHP"), BadInput, "vin", "A VIN has 17 characters, this has 6"),
    ("VIN known", lambda on: on.shop.car(vin=on.vehicle.vin), Conflict, "vin", "is on record already: Velmora Sirrus"),
    ("no make", lambda on: on.shop.car(make="  "), BadInput, "make", "The make is missing"),
    ("no model", lambda on: on.shop.car(model=""), BadInput, "model", "The model is missing"),
    # control units
    ("role", lambda on: on.shop.unit(on.vehicle, "turbo"), BadInput, "role", "“turbo” is no role of a control unit"),
    (
        "no hardware number",
        lambda on: on.shop.unit(on.vehicle, "body", hardware_number=" "),
        BadInput,
        "hardware_number",
        "The hardware number is missing",
    ),
    (
        "same unit, other spelling",
        lambda on: on.shop.unit(on.vehicle, hardware_number="hw-ENGINE "),
        Conflict,
        "hardware_number",
        "has a control unit engine",
    ),
    # stock
    (
        "stock is confirmed",
        lambda on: on.shop.read(on.unit, READ),
        Conflict,
        "new_generation",
        "is confirmed already (generation 1",
    ),
    # revisions
    (
        "revision that changes nothing",
        lambda on: on.shop.revision(on.unit, READ),
        Conflict,
        "file",
        "byte for byte that of its parent",
    ),
    (
        "revision of another size",
        lambda on: on.shop.revision(on.unit, TUNED + b"x"),
        BadInput,
        "file",
        "covers other addresses (4,097 bytes) than its parent (4,096 bytes)",
    ),
    ("revision without a title", lambda on: on.shop.revision(on.unit, STOCK, title=" "), BadInput, "title", "Write"),
    (
        "revision before stock",
        lambda on: on.shop.revision(on.shop.unit(on.vehicle, "body"), TUNED),
        Conflict,
        None,
        "No stock is confirmed",
    ),
    (
        "parent of another unit",
        lambda on: on.shop.revision(stocked(on, "body"), TUNED, parent=on.revision),
        Conflict,
        "parent_id",
        "belongs to another control unit",
    ),
    # flashing
    (
        "revision of another unit",
        lambda on: on.shop.flash(stocked(on, "body"), on.revision),
        Conflict,
        "revision_id",
        "belongs to another control unit",
    ),
    (
        "block checksum does not hold",
        lambda on: on.shop.flash(on.unit, broken_revision(on)),
        Conflict,
        "revision_id",
        "Block checksum “block” of this image does not hold",
    ),
    ("outcome", lambda on: flash(on, outcome="fine"), BadInput, "outcome", "Say how the write ended"),
    ("no volts", lambda on: flash(on, supply_before_v=0.0), BadInput, "supply_before_v", "cannot be the supply"),
    ("many volts", lambda on: flash(on, supply_lowest_v=134.0), BadInput, "supply_lowest_v", "134.0 V cannot be"),
    (
        "swapped volts",
        lambda on: flash(on, supply_before_v=10.0, supply_lowest_v=13.5),
        BadInput,
        "supply_lowest_v",
        "were the two swapped?",
    ),
    (
        "another file in the tool",
        lambda on: flash(on, sha256="deadbeefdeadbeef"),
        BadInput,
        "sha256",
        "Do not flash it.",
    ),
    ("digest too short to tell", lambda on: flash(on, sha256="abc"), BadInput, "sha256", "is not that of the image"),
    ("no such revision", lambda on: flash(on, revision_id=NOBODY), NotFound, None, "There is no revision"),
    ("withdrawn", withdrawn_then_flashed, Conflict, "revision_id", "Revision 1 was withdrawn: It knocks."),
    (
        "no stock yet",
        lambda on: on.shop.flash(on.shop.unit(on.vehicle, "body")),
        Conflict,
        None,
        "No stock is confirmed for this control unit",
    ),
    # read-back, coding, first start
    (
        "read-back of a broken write",
        lambda on: on.shop.read_back(on.shop.flash(on.unit, on.revision, "aborted"), TUNED),
        Conflict,
        None,
        "This write did not complete",
    ),
    (
        "the snapshot itself as proof",
        lambda on: on.shop.write_back(on.flash, on.coding, on.coding),
        Conflict,
        "read_snapshot_id",
        "must be a new snapshot",
    ),
    (
        "another car's coding",
        lambda on: on.shop.write_back(on.flash, on.shop.coding(on.shop.car()), on.shop.coding(on.vehicle)),
        Conflict,
        None,
        "belongs to another car",
    ),
    (
        "waiver without a sentence",
        lambda on: waive_coding(on.shop.session, **by(on), flash_id=on.flash.id, reason="no need"),  # type: ignore[arg-type]  # as above
        BadInput,
        "reason",
        "Write the reason in a sentence",
    ),
    (
        "first start while coding is pending",
        lambda on: record_first_start(on.shop.session, **by(on), flash_id=on.flash.id),  # type: ignore[arg-type]  # as above
        Conflict,
        None,
        "Coding is pending",
    ),
    # visits, files
    (
        "in the shop already",
        lambda on: begin_visit(on.shop.session, **by(on), vehicle_id=on.vehicle.id, reason="Again.", odometer_km=None),  # type: ignore[arg-type]  # as above
        Conflict,
        None,
        "in the shop already",
    ),
    (
        "not in the shop",
        lambda on: end_visit(on.shop.session, **by(on), vehicle_id=on.shop.car().id),  # type: ignore[arg-type]  # as above
        Conflict,
        None,
        "is not in the shop",
    ),
    (
        "leaves with coding pending",
        lambda on: end_visit(on.shop.session, **by(on), vehicle_id=on.vehicle.id),  # type: ignore[arg-type]  # as above
        Conflict,
        None,
        "Coding is pending on this car",
    ),
    (
        "empty file",
        lambda on: attach_file(
            on.shop.session, **by(on), vehicle_id=on.vehicle.id, uploaded=b"", file_name="a", kind="photo"
        ),  # type: ignore[arg-type]  # as above
        BadInput,
        "file",
        "The file is empty",
    ),
    (
        "kind of file",
        lambda on: attach_file(
            on.shop.session, **by(on), vehicle_id=on.vehicle.id, uploaded=b"x", file_name="a", kind="poem"
        ),  # type: ignore[arg-type]  # as above
        BadInput,
        "kind",
        "Choose what the file is",
    ),
    # identity
    (
        "accepted without a reason",
        lambda on: accept_identity(on.shop.session, **by(on), identity_check_id=on.shop.scan(on.unit).id, reason=" "),  # type: ignore[arg-type]  # as above
        BadInput,
        "reason",
        "Write why the numbers changed",
    ),
    (
        "accepted check that is not there",
        lambda on: accept_identity(on.shop.session, **by(on), identity_check_id=NOBODY, reason="x"),  # type: ignore[arg-type]  # as above
        NotFound,
        None,
        "There is no identity check",
    ),
    # layouts
    ("layout again", lambda on: on.shop.layout(), BadInput, "file", "version 1 of “Engine 1” already"),
    ("layout without a name", lambda on: on.shop.layout(name=" "), BadInput, "name", "Give the layout a name"),
    # dyno
    ("dyno without a name", lambda on: on.shop.dyno(" "), BadInput, "name", "Give the dyno a name"),
    ("dyno of the same name", lambda on: on.shop.dyno("Bay 1"), Conflict, "name", "is on record already"),
    ("no such dyno", lambda on: measured(on, dyno_id=NOBODY), NotFound, None, "There is no dyno"),
    ("purpose", lambda on: measured(on, purpose="fun"), BadInput, "purpose", "The purpose is one of"),
    (
        "correction standard",
        lambda on: measured(on, correction_standard="own"),
        BadInput,
        "correction_standard",
        "is no correction standard",
    ),
    (
        "pressure in another unit",
        lambda on: measured(on, pressure_hpa=29.9),
        BadInput,
        "pressure_hpa",
        "check the value and its unit",
    ),
    (
        "humidity beyond all",
        lambda on: measured(on, relative_humidity_percent=130.0),
        BadInput,
        "relative_humidity_percent",
        "lies outside",
    ),
    (
        "same file twice",
        lambda on: on.shop.pull(on.measured),
        Conflict,
        "file",
        "in the session already as pull 1",
    ),
    (
        "file without a pull",
        lambda on: add_runs(
            on.shop.session,
            **by(on),  # type: ignore[arg-type]  # as above
            dyno_session_id=on.measured.id,
            uploaded=b"x",
            file_name="x.csv",
            runs=NewRuns([], [], []),
        ),
        BadInput,
        "file",
        "No pull was found in this file",
    ),
    (
        "pull left out without a reason",
        lambda on: decide_run(on.shop.session, **by(on), run_id=on.run.id, included=False, reason="-"),  # type: ignore[arg-type]  # as above
        BadInput,
        "reason",
        "Write the reason",
    ),
    (
        "attributed to another car's unit",
        lambda on: attributed(on, on.shop.unit().id),
        Conflict,
        "control_unit_id",
        "another car",
    ),
    (
        "attributed to another unit's revision",
        lambda on: attributed(on, on.shop.unit(on.vehicle, "body").id, on.revision.id),
        Conflict,
        "revision_id",
        "belongs to another control unit",
    ),
    (
        "attributed result is not there",
        lambda on: attributed(on, on.unit.id, strip_run_id=NOBODY),
        NotFound,
        None,
        "not on record",
    ),
    # decisions, limits, other results
    ("decision", lambda on: decide(on, "loved"), BadInput, "decision", "Decide one of kept, released, withdrawn"),
    ("withdrawn without a reason", lambda on: decide(on, "withdrawn"), BadInput, "reason", "is withdrawn"),
    (
        "released without a legal basis",
        lambda on: decide(on, "released"),
        BadInput,
        "legal_basis",
        "State the legal basis before release",
    ),
    ("limit of a channel unknown", lambda on: limited(on, channel="mood"), BadInput, "channel", "is no channel"),
    ("limit of no kind", lambda on: limited(on, bound="near"), BadInput, "bound", "A limit is a max or a min."),
    ("limit of no severity", lambda on: limited(on, severity="loud"), BadInput, "severity", "stop or watch"),
    (
        "limit of a region that ends before it begins",
        lambda on: limited(on, speed_lo_rpm=5000.0, speed_hi_rpm=3000.0),
        BadInput,
        "speed_hi_rpm",
        "ends before it begins",
    ),
    ("slip with nothing on it", lambda on: slip(on), BadInput, "results", "Give at least one of"),
    ("slip with an unknown figure", lambda on: slip(on, et_mile_s=1.0), BadInput, "results", "Give at least one of"),
    ("slip below zero", lambda on: slip(on, et_60ft_s=-2.0), BadInput, "results", "above zero"),
    (
        "slip that runs backwards",
        lambda on: slip(on, et_330ft_s=8.0, et_660ft_s=7.0),
        BadInput,
        "et_660ft_s",
        "660 ft in 7 s is not after 330 ft in 8 s",
    ),
    (
        "fuel of another car's size",
        lambda on: record_economy_trial(
            on.shop.session, **by(on), vehicle_id=on.vehicle.id, distance_km=10.0, fuel_l=70.0
        ),  # type: ignore[arg-type]  # as above
        BadInput,
        "fuel_l",
        "check the units",
    ),
    (
        "no distance",
        lambda on: record_economy_trial(
            on.shop.session, **by(on), vehicle_id=on.vehicle.id, distance_km=0.0, fuel_l=7.0
        ),  # type: ignore[arg-type]  # as above
        BadInput,
        "distance_km",
        "above zero",
    ),
]


@pytest.mark.parametrize(
    ("act", "kind", "field", "sentence"), [one[1:] for one in REFUSED], ids=[o[0] for o in REFUSED]
)
def test_a_refusal_names_the_field_and_leaves_nothing_behind(
    on: Ready, act: Callable[[Ready], object], kind: type[AppError], field: str | None, sentence: str
) -> None:
    session = on.shop.session
    before = contents(session)
    with pytest.raises(AppError) as refused, session.begin_nested():
        act(on)
    assert type(refused.value) is kind
    assert sentence in refused.value.sentence
    assert refused.value.field == field
    session.expire_all()
    assert contents(session) == before
    on.shop.unit(on.vehicle, "other")  # the record goes on where it was
    assert on.shop.entries()[-1].seq == len(before["journal_entry"]) + 1


def test_a_second_read_that_differs_is_refused_with_its_addresses(on: Ready) -> None:
    session = on.shop.session
    unit = on.shop.unit(on.vehicle, "transmission", base_address=0x8000_0000)
    on.shop.read(unit, STOCK)
    before = contents(session)
    with pytest.raises(Conflict) as refused, session.begin_nested():
        on.shop.read(unit, changed(STOCK, 0x123, 0x124, 0x900))
    assert "in 3 bytes, first at 0x80000123" in refused.value.sentence
    assert (refused.value.field, refused.value.where) == ("file", "address 0x80000123")
    first, _, last = refused.value.details
    assert first == f"0x80000123: {STOCK[0x123]:02X} against {STOCK[0x123] ^ 0xFF:02X}"
    assert last.startswith("0x80000900: ")
    assert contents(session) == before


def test_a_crossed_limit_asks_for_a_reason_before_release(on: Ready) -> None:
    limited(on, channel="torque_nm", value=250.0)
    with pytest.raises(BadInput) as refused, on.shop.session.begin_nested():
        decide(on, "released", legal_basis="Competition only.")
    assert refused.value.field == "limits_reason"
    assert refused.value.details
    decide(on, "released", legal_basis="Competition only.", limits_reason="The limit was the old clutch's.")
    assert on.shop.entries()[-1].action == "released revision"
