"""Acts about revisions and layouts: each writes what it says, in one journal entry, and the record verifies afterwards.

Figures by hand from tests/calibration_car.py: numbers of 0.001 bar.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from sqlalchemy.orm import Session

from app.actions.add_block_checksum import add_block_checksum
from app.actions.add_volatile_range import add_volatile_range
from app.actions.change_map_category import change_map_category
from app.actions.decide_revision import decide_revision
from app.actions.enter_deltas import enter_deltas
from app.actions.log_by_hand import log_by_hand
from app.actions.log_revision import NewRevision
from app.actions.name_range import name_range
from app.actions.port_revision import Wanted, port_revision
from app.actions.recompute_analysis import recompute_analysis
from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.delta_warnings import CategoryRule, WarningRules
from app.calc.calibration.layout import MapDefinition, VolatileRange
from app.calc.calibration.manual_delta import manual_delta
from app.errors import AppError, BadInput, Conflict
from app.record import analyses, journal, layouts, lines, revisions, warning_rules
from app.record.tables import ControlUnit, Layout, Revision, Stock
from app.record.verify import verify
from tests.calibration_car import HIDDEN_AT, HIDDEN_RAISED, OTHER, RAISED, image_of
from tests.shop import Shop

TORQUE = MapDefinition("torque limit", "block", HIDDEN_AT, "limiter", data_type="uint16", size=(6,))


@dataclass
class Bench:
    """Stock, a layout, revision 1 from stock, 2 from it, and another car with the same software."""

    shop: Shop
    layout: Layout
    unit: ControlUnit
    stock: Stock
    first: Revision
    second: Revision
    other: ControlUnit
    other_stock: Stock

    @property
    def by(self) -> dict[str, Any]:
        return {"session": self.shop.session, "person": self.shop.person, "at": self.shop.now()}


@pytest.fixture
def bench(session: Session) -> Bench:
    shop = Shop(session)
    layout = shop.layout()
    unit = shop.unit()
    stock = shop.stock(unit, image_of())
    first = shop.revision(unit, image_of(RAISED))
    second = shop.revision(unit, image_of(RAISED, HIDDEN_RAISED), parent=first)
    other = shop.unit()
    return Bench(shop, layout, unit, stock, first, second, other, shop.stock(other, image_of(OTHER)))


def hand(bench: Bench) -> Revision:
    new = NewRevision("From notes", "Another shop wrote it down.")
    return log_by_hand(**bench.by, control_unit_id=bench.unit.id, revision=new)


def entered(bench: Bench) -> object:
    delta = manual_delta("spark", before=[10.0, 12.0], after=[11.0, 12.0], unit="deg", category="ignition")
    return enter_deltas(**bench.by, revision_id=hand(bench).id, deltas=[delta])


def named(bench: Bench) -> Layout:
    return name_range(**bench.by, layout_id=bench.layout.id, definition=TORQUE)


def block(bench: Bench) -> Layout:
    definition = ChecksumDefinition("rest", "CRC-32/ISO-HDLC", ((0x200, 0x300),), 0x300)
    return add_block_checksum(**bench.by, layout_id=bench.layout.id, definition=definition)


def volatile(bench: Bench) -> Layout:
    found = VolatileRange(0x600, 0x700, "idle adaptation")
    return add_volatile_range(**bench.by, layout_id=bench.layout.id, volatile=found)


def category(bench: Bench) -> Layout:
    wanted: dict[str, Any] = {"name": "boost target", "category": "limiter"}
    return change_map_category(**bench.by, layout_id=bench.layout.id, **wanted)


def ported(bench: Bench) -> Revision:
    wanted = Wanted(bench.first.id, f"stock-{bench.other_stock.id}")
    return port_revision(**bench.by, wanted=wanted, revision=NewRevision("As there", "Same wish."))


def again(bench: Bench) -> object:
    return recompute_analysis(**bench.by, revision_id=bench.second.id, layout_id=named(bench).id)


@pytest.mark.parametrize(
    ("act", "action", "about"),
    [
        (hand, "log revision", "revision"),
        (entered, "enter deltas", "revision"),
        (named, "name range", "layout"),
        (block, "add block checksum", "layout"),
        (volatile, "add volatile range", "layout"),
        (category, "change category", "layout"),
        (ported, "port revision", "revision"),
        (again, "recompute deltas", "revision"),
    ],
)
def test_an_act_is_told_once_and_the_record_still_verifies(
    bench: Bench, act: Callable[[Bench], object], action: str, about: str
) -> None:
    before = [entry.action for entry in bench.shop.entries()].count(action)
    act(bench)
    told = journal.page(bench.shop.session, limit=1)[0]
    assert (told.action, told.subject is not None and told.subject[0]) == (action, about)
    assert [entry.action for entry in bench.shop.entries()].count(action) == before + 1
    assert verify(bench.shop.session).findings == ()


def test_changes_entered_by_hand_come_back_with_their_numbers(bench: Bench) -> None:
    row = hand(bench)
    session = bench.shop.session
    delta = manual_delta("spark", before=[10.0, 12.0], after=[11.0, 12.0], unit="deg", category="ignition")
    limit = manual_delta("limit", change=30.0, unit="km/h", category="limiter")
    enter_deltas(**bench.by, revision_id=row.id, deltas=[delta, limit])
    newer = manual_delta("spark", before=[10.0, 12.0], after=[10.0, 15.0], unit="deg", category="ignition")
    latest = enter_deltas(**bench.by, revision_id=row.id, deltas=[newer])
    found = {one.name: one for one in analyses.deltas_of(session, latest.id)}
    assert set(found) == {"spark", "limit"}
    assert found["spark"].after.tolist() == [10.0, 15.0]
    assert latest.sentence == "2 maps changed, 1 limiter."
    with pytest.raises(Conflict, match="has an image"):
        enter_deltas(**bench.by, revision_id=bench.first.id, deltas=[delta])
    with pytest.raises(BadInput, match="at least one map"):
        enter_deltas(**bench.by, revision_id=row.id, deltas=[])


def test_a_named_range_explains_what_was_unexplained_and_history_stays(bench: Bench) -> None:
    session = bench.shop.session
    newest = named(bench)
    assert [one.id for one in layouts.outdated(session, newest)] == [bench.first.id, bench.second.id]
    row = recompute_analysis(**bench.by, revision_id=bench.second.id, layout_id=newest.id)
    assert row.sentence == "1 map changed, 1 limiter."
    assert [one.sentence for one in revisions.analyses(session, bench.second.id)] == [
        "1 map changed, 1 limiter.",
        "No map changed, 12 bytes unexplained.",
    ]
    assert [one.id for one in layouts.outdated(session, newest)] == [bench.first.id]
    assert layouts.outdated(session, bench.layout) == []


def test_a_first_range_begins_a_layout_for_the_software(bench: Bench) -> None:
    row = name_range(
        **bench.by,
        layout_id=None,
        definition=TORQUE,
        new_layout=" Fresh ",
        software_number="SW-engine-1",
    )
    assert (row.name, row.version, row.software_number, row.map_count) == ("Fresh", 1, "SW-engine-1", 1)
    with pytest.raises(BadInput, match="Give the new layout a name"):
        name_range(**bench.by, layout_id=None, definition=TORQUE)
    with pytest.raises(Conflict, match="is on record already"):
        name_range(**bench.by, layout_id=None, definition=TORQUE, new_layout="Fresh")


@pytest.mark.parametrize("act", [named, block, volatile, category])
def test_a_layout_is_changed_in_its_newest_version_alone(bench: Bench, act: Callable[[Bench], Layout]) -> None:
    assert act(bench).version == 2
    with pytest.raises(Conflict, match="has a newer version, v2"):
        act(bench)


def test_images_that_a_unit_accepted_are_told_from_drafts(bench: Bench) -> None:
    session = bench.shop.session
    every = layouts.images_of(session, bench.layout)
    assert [one.id for one in every if isinstance(one, Revision)] == [bench.first.id, bench.second.id]
    assert {one.id for one in every if isinstance(one, Stock)} == {bench.stock.id, bench.other_stock.id}
    bench.shop.flash(bench.unit, bench.first)
    bench.shop.flash(bench.unit, bench.second, outcome="aborted")
    proven = layouts.proven_of(session, bench.layout)
    assert [one.id for one in proven if isinstance(one, Revision)] == [bench.first.id]


def test_the_line_and_the_tree_of_a_revision(bench: Bench) -> None:
    session = bench.shop.session
    side = bench.shop.revision(bench.unit, image_of((*RAISED[:7], 2000)), title="Branch")
    notes = hand(bench)
    assert lines.line_to(session, bench.second) == [bench.stock, bench.first, bench.second]
    assert lines.tree_around(session, bench.second) == [
        (bench.stock, None),
        (bench.first, bench.stock),
        (bench.second, bench.first),
        (side, bench.stock),
        (notes, bench.stock),
    ]
    assert [image is None for image in lines.images_of(session, [bench.stock, notes])] == [False, True]


def test_a_port_names_its_source_and_keeps_its_requirements(bench: Bench) -> None:
    row = ported(bench)
    assert (row.kind, row.ported_from_id, row.stock_id, row.parent_id) == (
        "ported",
        bench.first.id,
        bench.other_stock.id,
        None,
    )
    onto_revision = Wanted(bench.first.id, f"r{row.id}", mode="percent")
    second = port_revision(**bench.by, wanted=onto_revision, revision=NewRevision("Twice", "Once more."))
    assert (second.parent_id, second.stock_id) == (row.id, bench.other_stock.id)


@pytest.mark.parametrize(
    ("wanted", "refusal"),
    [
        ({"mode": "magic"}, "Choose one of"),
        ({"since": "ever"}, "since the parent or since stock"),
        ({"maps": frozenset()}, "There is no named map to port"),
        ({"target": "x"}, "names neither stock nor a revision"),
        ({"target": "stock-999999999"}, "There is no stock 999999999"),
    ],
)
def test_a_port_that_cannot_be_computed_is_refused(bench: Bench, wanted: dict[str, object], refusal: str) -> None:
    given: dict[str, Any] = {"revision_id": bench.first.id, "target": f"stock-{bench.other_stock.id}"} | wanted
    with pytest.raises(AppError, match=refusal):
        port_revision(**bench.by, wanted=Wanted(**given), revision=NewRevision("t", "p"))


def test_the_shops_rules_warn_when_a_revision_is_logged(bench: Bench) -> None:
    session = bench.shop.session
    warning_rules.store(session, WarningRules(categories={"boost": CategoryRule(raised=True, percent=5.0)}))
    assert warning_rules.rules(session).categories["boost"].percent == 5.0
    row = bench.shop.revision(bench.unit, image_of((*RAISED[:7], 2100)), title="Too much")
    found = revisions.analysis(session, row.id)
    assert found is not None
    # 1.800 became 2.100 bar: +0.300, +16.7 %.
    assert found.warnings == [
        "boost target is raised, by up to 0.300 bar.",
        "boost target changes by up to 16.7 %; the rule is 5 %.",
    ]


def test_a_decision_is_one_of_three(bench: Bench) -> None:
    with pytest.raises(BadInput, match="Decide one of"):
        decide_revision(**bench.by, revision_id=bench.first.id, decision="maybe")
