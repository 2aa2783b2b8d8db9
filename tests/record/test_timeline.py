"""A car's history: newest first, by topic, in pages; and every act has a topic."""

import ast
import re
from pathlib import Path

import pytest
from sqlalchemy.orm import Session

import app.actions
from app.actions.attach_file import attach_file
from app.actions.begin_visit import begin_visit
from app.record import timeline
from app.record.tables import Vehicle
from app.record.timeline import TOPICS
from tests.shop import STOCK, Shop, changed

# Acts that are about no car: they stand in the journal, not in a car's history.
ABOUT_NO_CAR = {
    "add person",
    "change person",
    "change preferences",
    "change settings",
    "change warning rules",
    "create first manager",
    "create token",
    "revoke token",
    "sign in",
    "sign out",
    "lock sign-in",
    "add dyno",
    "describe rollers",
    "confirm columns",
    "add inbox item",
    "add layout",
    "add block checksum",
    "add volatile range",
    "change category",
    "name range",
    "import vehicles",
}
# About a car, and of no kind that somebody would look for by a filter.
UNFILTERED = {"pin vehicle"}


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


@pytest.fixture
def vehicle(shop: Shop) -> Vehicle:
    vehicle = shop.car()
    unit = shop.unit(vehicle)
    shop.stock(unit)
    shop.coding(vehicle)
    shop.read_back(shop.flash(unit, shop.revision(unit, changed(STOCK, 0x700))), changed(STOCK, 0x700))
    shop.pull(shop.dyno_session(vehicle, shop.dyno()))
    return vehicle


def test_the_newest_comes_first_and_other_cars_stay_out(shop: Shop, vehicle: Vehicle) -> None:
    shop.unit(shop.car())
    found = timeline.of_vehicle(shop.session, vehicle.id)
    assert [one.seq for one in found] == sorted((one.seq for one in found), reverse=True)
    assert [one.action for one in reversed(found)] == [
        "register vehicle",
        "add control unit",
        "read stock",
        "confirm stock",
        "keep coding",
        "log revision",
        "log flash",
        "read back",
        "record dyno session",
        "add runs",
    ]
    assert {one.person for one in found} == {"Ada Renn"}


def test_each_topic_shows_its_own(shop: Shop, vehicle: Vehicle) -> None:
    every = timeline.of_vehicle(shop.session, vehicle.id)
    parts = [timeline.of_vehicle(shop.session, vehicle.id, topic=topic) for topic in TOPICS]
    assert sorted(one.seq for part in parts for one in part) == sorted(one.seq for one in every)
    flashes = timeline.of_vehicle(shop.session, vehicle.id, topic="flashes")
    assert [one.action for one in flashes] == ["read back", "log flash", "keep coding"]
    assert {one.topic for one in flashes} == {"flashes"}


def test_an_unknown_topic_hides_nothing(shop: Shop, vehicle: Vehicle) -> None:
    assert timeline.of_vehicle(shop.session, vehicle.id, topic="x") == timeline.of_vehicle(shop.session, vehicle.id)


def test_pages_follow_each_other_without_gap_or_repeat(shop: Shop, vehicle: Vehicle) -> None:
    found: list[int] = []
    before: int | None = None
    while page := timeline.of_vehicle(shop.session, vehicle.id, before=before, limit=3):
        found += [one.seq for one in page]
        before = page[-1].seq
    assert found == [one.seq for one in timeline.of_vehicle(shop.session, vehicle.id)]


def test_what_contradicts_the_record_stands_out_and_what_agrees_does_not(shop: Shop, vehicle: Vehicle) -> None:
    assert not any(one.contradicts for one in timeline.of_vehicle(shop.session, vehicle.id))
    unit = shop.unit(shop.car())
    shop.stock(unit)
    flash = shop.flash(unit, shop.revision(unit, changed(STOCK, 0x700)))
    shop.read_back(flash, STOCK)
    shop.scan(unit, software_number="DEALER-9")
    shop.flash(unit, outcome="aborted")
    found = timeline.of_vehicle(shop.session, unit.vehicle_id)
    assert [one.action for one in found if one.contradicts] == ["log flash", "check identity", "read back"]


def test_words_alone_make_nothing_stand_out(shop: Shop, vehicle: Vehicle) -> None:
    """A reason that a person wrote may speak of differences without there being one."""
    begin_visit(
        shop.session,
        person=shop.person,
        at=shop.now(),
        vehicle_id=vehicle.id,
        reason="Numbers differ?",
        odometer_km=None,
    )
    newest = timeline.of_vehicle(shop.session, vehicle.id)[0]
    assert "differ" in newest.sentence
    assert not newest.contradicts


def test_no_line_of_the_history_needs_a_digest_to_be_read(shop: Shop, vehicle: Vehicle) -> None:
    for entry in timeline.of_vehicle(shop.session, vehicle.id):
        assert not re.search(r"[0-9a-f]{8}", entry.sentence), entry.sentence


def test_the_history_names_no_customer(shop: Shop) -> None:
    vehicle = shop.car(customer_name="Jörg Brännström", customer_contact="0171 5550100")
    attach_file(
        shop.session,
        person=shop.person,
        at=shop.now(),
        vehicle_id=vehicle.id,
        uploaded=b"signed",
        file_name="Jörg Brännström.pdf",
        kind="authorisation",
    )
    whole = "".join(entry.body for entry in shop.entries())
    assert "Brännström" not in whole
    assert "5550100" not in whole


def actions_journalled() -> set[str]:
    """What the acts call themselves, read from their source; an f-string stands for each of its words."""
    found: set[str] = set()
    for file in Path(app.actions.__path__[0]).glob("*.py"):
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(call, ast.keyword) and call.arg == "action":
                found |= {one.value for one in ast.walk(call.value) if _is_name(one)}
    return found


def _is_name(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str) and not node.value.startswith(" ")


def test_every_act_about_a_car_has_its_topic() -> None:
    known = {action for actions in TOPICS.values() for action in actions}
    unplaced = actions_journalled() - known - ABOUT_NO_CAR - UNFILTERED
    assert unplaced == set()
