"""Sister cars find each other by their stock, and the same change is followed from car to car."""

import numpy as np
import pytest
from scipy import stats
from sqlalchemy.orm import Session

from app.actions.add_runs import NewRuns, add_runs
from app.actions.attribute import Result, attribute
from app.record import fleet, fleet_gains
from app.record.tables import ControlUnit, Dyno, Revision, Vehicle
from tests.shop import Shop, changed, image_bytes, with_sum

STOCK = with_sum(image_bytes(7))
TUNED = with_sum(changed(STOCK, 0x101, 0x103))
OTHER = with_sum(image_bytes(8))
SPEED = np.linspace(2000.0, 6000.0, 81)
TORQUE = 320.0 - ((SPEED - 3800.0) / 190.0) ** 2


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


def sister(shop: Shop, stock: bytes = STOCK) -> tuple[Vehicle, ControlUnit]:
    car = shop.car()
    unit = shop.unit(car)
    shop.stock(unit, stock)
    return car, unit


def pulls(shop: Shop, car: Vehicle, unit: ControlUnit, dyno: Dyno, revision: Revision | None, factor: float) -> int:
    """Three pulls that scatter by 0.2 %, attributed; the session's id."""
    row = shop.dyno_session(car, dyno)
    random = np.random.default_rng(row.id)
    made = [{"engine_speed_rpm": SPEED, "torque_nm": TORQUE * factor * (1 + random.normal(0, 0.002))} for _ in range(3)]
    runs = NewRuns(pulls=made, columns=[], findings=[])
    add_runs(
        shop.session, person=shop.person, at=shop.now(), dyno_session_id=row.id,
        uploaded=f"{row.id}".encode(), file_name="pull.csv", runs=runs,
    )  # fmt: skip
    attribute(
        shop.session,
        person=shop.person,
        at=shop.now(),
        result=Result(dyno_session_id=row.id),
        control_unit_id=unit.id,
        revision_id=None if revision is None else revision.id,
        reason="as measured",
    )
    return row.id


def test_cars_with_the_same_stock_are_one_family_and_others_are_not(shop: Shop) -> None:
    first, second, alone = sister(shop), sister(shop), sister(shop, OTHER)
    (family,) = fleet.families(shop.session)
    assert [one.vehicle.id for one in family.sisters] == [first[0].id, second[0].id]
    assert alone[0].id not in {one.vehicle.id for one in family.sisters}
    assert family.layout is None
    shop.layout(software_number=first[1].software_number)
    assert fleet.families(shop.session)[0].layout is not None


def test_two_generations_of_one_car_are_no_family(shop: Shop) -> None:
    _, unit = sister(shop)
    shop.stock(unit, OTHER, new_generation=True)
    assert fleet.families(shop.session) == []
    assert fleet.shared_changes(shop.session) == []


def test_the_same_image_on_two_cars_is_one_change_from_whichever_side(shop: Shop) -> None:
    (_, one), (_, two) = sister(shop), sister(shop)
    first, second = shop.revision(one, TUNED), shop.revision(two, TUNED, title="As on the other")
    shop.revision(one, with_sum(changed(STOCK, 0x700)), title="Alone")
    (change,) = fleet.shared_changes(shop.session)
    assert [row.id for row in change.revisions] == [first.id, second.id]
    for row in (first, second):
        assert fleet.change_of(shop.session, row.id) == change


def test_a_ported_revision_belongs_to_the_change_it_came_from_and_so_do_its_own_sisters(shop: Shop) -> None:
    (_, one), (_, two), (_, three) = sister(shop), sister(shop, OTHER), sister(shop, OTHER)
    source = shop.revision(one, TUNED)
    ported = Revision(
        control_unit_id=two.id, number=1, parent_id=None, stock_id=None, title="Ported", purpose="p", kind="ported",
        fuel_requirement="", hardware_requirement="", ported_from_id=source.id, port_report={}, at=shop.now(),
        by_id=shop.person.id, sha256=None, spans=None, crc32=None, size=None, file_format=None, file_name=None,
        original_sha256=None,
    )  # fmt: skip
    image = with_sum(changed(OTHER, 0x101, 0x103))
    same = shop.revision(three, image)
    ported.sha256, ported.spans, ported.crc32, ported.size = same.sha256, same.spans, same.crc32, same.size
    shop.session.add(ported)
    shop.session.flush()
    (change,) = fleet.shared_changes(shop.session)
    assert {row.id for row in change.revisions} == {source.id, ported.id, same.id}
    assert change.ported
    assert fleet.change_of(shop.session, same.id) == change


def test_the_gains_of_sister_cars_give_the_next_ones_interval(shop: Shop) -> None:
    """The figures are those of plain arithmetic on the pulls as recorded: mean of P after minus mean before over the
    grid, and Student's interval from another library."""
    dyno = shop.dyno()
    factors, revisions, expected = (1.06, 1.08, 1.075), [], []
    for factor in factors:
        car, unit = sister(shop)
        revision = shop.revision(unit, TUNED)
        before = pulls(shop, car, unit, dyno, None, 1.0)
        after = pulls(shop, car, unit, dyno, revision, factor)
        revisions.append(revision)
        scatter = [np.mean([1 + np.random.default_rng(s).normal(0, 0.002, 3)]) for s in (before, after)]
        power = (TORQUE * SPEED * np.pi / 30000).mean()
        expected.append(float(power * (factor * scatter[1] - scatter[0])))
    found = fleet_gains.of_change(shop.session, fleet.change_of(shop.session, revisions[1].id))
    gains = [one.average.gain_kw for one in found.cars if one.average is not None]
    assert [one.refusal for one in found.cars] == [""] * 3
    assert gains == pytest.approx(expected, rel=0.02)
    assert found.prediction is not None
    low, high = stats.t.interval(0.95, 2, loc=np.mean(gains), scale=np.std(gains, ddof=1) * np.sqrt(4 / 3))
    assert (found.prediction.low, found.prediction.high) == pytest.approx((low, high))
    assert found.reason == ""


def test_one_measured_car_says_too_little_and_why_the_others_are_silent_is_told(shop: Shop) -> None:
    dyno = shop.dyno()
    car, unit = sister(shop)
    revision = shop.revision(unit, TUNED)
    pulls(shop, car, unit, dyno, None, 1.0)
    pulls(shop, car, unit, dyno, revision, 1.07)
    _, second = sister(shop)
    shop.revision(second, TUNED)
    third_car, third = sister(shop)
    third_revision = shop.revision(third, TUNED)
    pulls(shop, third_car, third, shop.dyno("Bay 2"), None, 1.0)
    pulls(shop, third_car, third, dyno, third_revision, 1.07)
    found = fleet_gains.of_change(shop.session, fleet.change_of(shop.session, revision.id))
    assert found.prediction is None
    assert found.reason.startswith("Too few to say: one car was measured")
    assert [bool(one.refusal) for one in found.cars] == [False, True, True]


def test_a_revision_that_no_other_car_got_stands_alone(shop: Shop) -> None:
    _, unit = sister(shop)
    revision = shop.revision(unit, TUNED)
    change = fleet.change_of(shop.session, revision.id)
    assert change.revisions == (revision,)
    assert fleet_gains.of_change(shop.session, change).reason.startswith("Too few to say: no car")
