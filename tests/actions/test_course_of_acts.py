"""Any course of acts in any order: the record's invariants hold after each, and what is refused leaves no trace."""

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AppError
from app.record import car_state, content
from app.record.tables import CodingSnapshot, ControlUnit, Flash, JournalEntry, Revision, Stock, StockRead, Vehicle
from app.record.verify import verify
from tests.shop import CODING, STOCK, Shop, changed

IMAGES = (STOCK, changed(STOCK, 0x20), changed(STOCK, 0x700, 0x701))
CODINGS = (CODING, {"Body": {"long coding": "0A 1F 23"}, "Gateway": {"installed": "01 02"}})
PICK = st.integers(0, 1 << 16)


class Course(RuleBasedStateMachine):
    """People at work on up to two cars. What must hold is told from the acts that were taken, in order."""

    session: Session

    def __init__(self) -> None:
        super().__init__()
        self.savepoint = self.session.begin_nested()
        self.shop = Shop(self.session)
        self.cars: list[Vehicle] = []
        self.units: list[ControlUnit] = []
        self.flashes: list[Flash] = []
        self.codings: list[CodingSnapshot] = []
        self.entries = 0
        self.stocks: dict[int, bytes] = {}
        # Unit id → what it carries; car id → flash id → how its coding stands, in order.
        self.carries: dict[int, str] = {}
        self.owes: dict[int, dict[int, str]] = {}

    def teardown(self) -> None:
        assert verify(self.session).clean
        self.savepoint.rollback()
        self.session.expunge_all()

    def taken(self, act: object) -> bool:
        """Do an act; True when it was taken, which makes one entry."""
        before = self.shop.at
        try:
            with self.session.begin_nested():
                self.result = act()  # type: ignore[operator]  # a function without arguments
        except AppError:
            self.shop.at = before
            return False
        self.entries += 1
        return True

    @initialize()
    def begin_with_a_car_that_can_be_flashed(self) -> None:
        """Its engine control unit has stock and a revision, its coding is kept."""
        self.register(True)
        self.add_unit(0, "engine")
        for _ in range(2):
            self.read_stock(0, STOCK, False)
        self.log_revision(0, IMAGES[2])
        self.keep_coding(0, CODING)

    @precondition(lambda self: len(self.cars) < 2)
    @rule(loses_coding=st.booleans())
    def register(self, loses_coding: bool) -> None:
        assert self.taken(lambda: self.shop.car(loses_coding=loses_coding))
        car = self.session.scalars(select(Vehicle).order_by(Vehicle.id.desc()).limit(1)).one()
        self.cars.append(car)
        self.owes[car.id] = {}

    @precondition(lambda self: self.cars)
    @rule(pick=PICK, role=st.sampled_from(["engine", "transmission"]))
    def add_unit(self, pick: int, role: str) -> None:
        car = self.cars[pick % len(self.cars)]
        if self.taken(lambda: self.shop.unit(car, role)):
            unit = self.session.scalars(select(ControlUnit).order_by(ControlUnit.id.desc()).limit(1)).one()
            self.units.append(unit)
            self.carries[unit.id] = "unknown"

    @precondition(lambda self: self.units)
    @rule(pick=PICK, image=st.sampled_from(IMAGES), new_generation=st.booleans())
    def read_stock(self, pick: int, image: bytes, new_generation: bool) -> None:
        unit = self.units[pick % len(self.units)]
        if self.taken(lambda: self.shop.read(unit, image, new_generation=new_generation)):
            confirmed = self.session.scalars(
                select(Stock).where(Stock.control_unit_id == unit.id, Stock.id.not_in(self.stocks))
            ).all()
            for stock in confirmed:
                self.stocks[stock.id] = image
                self.carries[unit.id] = "stock"

    @precondition(lambda self: self.stocks)
    @rule(pick=PICK, image=st.sampled_from(IMAGES))
    def log_revision(self, pick: int, image: bytes) -> None:
        unit = self.units[pick % len(self.units)]
        self.taken(lambda: self.shop.revision(unit, image))

    @precondition(lambda self: self.stocks)
    @rule(
        pick=PICK, revision=st.none() | PICK, outcome=st.sampled_from(["completed", "completed", "failed", "aborted"])
    )
    def log_flash(self, pick: int, revision: int | None, outcome: str) -> None:
        unit = self.units[pick % len(self.units)]
        known = self.session.scalars(select(Revision).order_by(Revision.id)).all()
        chosen = known[revision % len(known)] if revision is not None and known else None
        if self.taken(lambda: self.shop.flash(unit, chosen, outcome)):
            flash = self.session.scalars(select(Flash).order_by(Flash.id.desc()).limit(1)).one()
            self.flashes.append(flash)
            what = "stock" if chosen is None else f"revision {chosen.id}"
            self.carries[unit.id] = what if outcome == "completed" else "unknown"
            self.owes[unit.vehicle_id][flash.id] = "owed"

    @precondition(lambda self: self.units)
    @rule(pick=PICK, foreign=st.booleans())
    def scan(self, pick: int, foreign: bool) -> None:
        unit = self.units[pick % len(self.units)]
        numbers = {"software_number": "DEALER-9"} if foreign else {}
        assert self.taken(lambda: self.shop.scan(unit, **numbers))
        if foreign:
            self.carries[unit.id] = "unknown"

    @precondition(lambda self: self.cars)
    @rule(pick=PICK, values=st.sampled_from(CODINGS))
    def keep_coding(self, pick: int, values: dict[str, dict[str, str]]) -> None:
        assert self.taken(lambda: self.shop.coding(self.cars[pick % len(self.cars)], values))
        self.codings.append(
            self.session.scalars(select(CodingSnapshot).order_by(CodingSnapshot.id.desc()).limit(1)).one()
        )

    @precondition(lambda self: self.flashes and len(self.codings) > 1)
    @rule(pick=PICK, wanted=PICK, read=PICK)
    def write_coding_back(self, pick: int, wanted: int, read: int) -> None:
        flash = self.flashes[pick % len(self.flashes)]
        kept, again = self.codings[wanted % len(self.codings)], self.codings[read % len(self.codings)]
        if self.taken(lambda: self.shop.write_back(flash, kept, again)):
            assert again.entry_seq > flash.entry_seq, "the proof is younger than the write"
            car_id = self.session.get_one(ControlUnit, flash.control_unit_id).vehicle_id
            assert {kept.vehicle_id, again.vehicle_id} == {car_id}
            self.owes[car_id][flash.id] = "verified" if kept.digest == again.digest else "owed"

    @precondition(lambda self: self.flashes)
    @rule(pick=PICK, values=st.sampled_from(CODINGS))
    def prove_coding(self, pick: int, values: dict[str, dict[str, str]]) -> None:
        """The usual way: read every module after the write and compare it with the first snapshot."""
        flash = self.flashes[pick % len(self.flashes)]
        car_id = self.session.get_one(ControlUnit, flash.control_unit_id).vehicle_id
        self.keep_coding(next(n for n, car in enumerate(self.cars) if car.id == car_id), values)
        first = next(n for n, kept in enumerate(self.codings) if kept.vehicle_id == car_id)
        self.write_coding_back(self.flashes.index(flash), first, len(self.codings) - 1)

    @invariant()
    def nothing_is_lost_and_each_act_has_one_entry(self) -> None:
        count, last = self.session.execute(select(func.count(), func.max(JournalEntry.seq))).one()
        assert count == (last or 0) == self.entries

    @invariant()
    def stock_stays_what_two_equal_reads_gave(self) -> None:
        for stock_id, image in self.stocks.items():
            stock = self.session.get_one(Stock, stock_id)
            first, second = (self.session.get_one(StockRead, n) for n in (stock.first_read_id, stock.second_read_id))
            assert first.sha256 == second.sha256 == stock.sha256
            assert first.spans == second.spans == stock.spans
            assert content.fetch(self.session, stock.sha256 or "") == image

    @invariant()
    def what_is_on_each_unit_follows_from_the_log(self) -> None:
        for unit_id, state in car_state.on_units(self.session, list(self.carries)).items():
            found = f"revision {state.revision_id}" if state.kind == "revision" else state.kind
            assert found == self.carries[unit_id]

    @invariant()
    def coding_is_pending_from_a_write_until_it_is_proven(self) -> None:
        pending = car_state.pending_of(self.session, self.cars)
        for car in self.cars:
            owed: list[int] = []
            for flash_id, word in self.owes[car.id].items():
                owed = [] if word == "verified" else [*owed, flash_id]
            assert [one.flash_id for one in pending.get(car.id, ())] == (owed if car.loses_coding else [])


@pytest.mark.parametrize("examples", [25, pytest.param(1000, marks=pytest.mark.release)])
def test_the_invariants_hold_after_any_course_of_acts(session: Session, examples: int) -> None:
    class Here(Course):
        pass

    Here.session = session
    quiet = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much]
    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=examples, stateful_step_count=30, deadline=None, suppress_health_check=quiet, database=None
        ),
    )
