"""The shop can rely on it that every changed byte is accounted for, and maps are compared as the engine reads them.

Numbers of the worked examples are worked out by hand beside them. The interpolation is checked against scipy's.
"""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.byte_changes import CHECKSUM, EXPLAINED, UNEXPLAINED
from app.calc.calibration.byte_ranges import changed_ranges
from app.calc.calibration.changed_maps import state_of
from app.calc.calibration.comparison import Comparison
from app.calc.calibration.decode import decode
from app.calc.calibration.delta import compare
from app.calc.calibration.delta_summary import build_deltas
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.scaling import Scaling
from tests.calc.calibration.layouts import layouts
from tests.calc.calibration.pairs import (
    ENGINE,
    SPARK,
    SUM,
    edited,
    engine,
    made_up,
    resized,
)

STOCK = engine()
SLOW = (HealthCheck.too_slow, HealthCheck.data_too_large)


def test_the_whole_report_of_one_edit() -> None:
    """Two rows of spark advance by 2 raw steps of 0.75 deg, one limiter raised from 250 to 255 km/h."""
    after = engine(spark=((10, 20, 30, 40), (12, 24, 34, 42), (14, 26, 36, 44)), limit=255)
    found = compare(STOCK, after, ENGINE)
    assert [delta.name for delta in found.deltas] == ["spark advance", "speed limit"]
    spark = found.deltas[0].summary
    assert (spark.cells, spark.changed, spark.compared) == (12, 4, "cell by cell")
    assert (spark.minimum, spark.maximum) == (0.0, 1.5)
    assert spark.mean == pytest.approx(4 * 1.5 / 12)
    assert spark.mean_of_changed == pytest.approx(1.5)
    # 1.5 of 16.5, 24, 18 and 25.5 deg.
    assert spark.percent_maximum == pytest.approx(100 * 1.5 / 16.5)
    assert spark.percent_minimum == pytest.approx(100 * 1.5 / 25.5)
    assert spark.percent_mean == pytest.approx(100 * 1.5 * (1 / 16.5 + 1 / 24 + 1 / 18 + 1 / 25.5) / 4)
    largest = spark.largest
    assert largest is not None
    assert (largest.before, largest.after, largest.index) == (16.5, 18.0, (1, 1))
    assert [(a.name, a.value, a.unit) for a in largest.at] == [("engine speed", 2000, "1/min"), ("load", 30, "%")]
    limit = found.deltas[1].summary
    assert (limit.at_raw_minimum, limit.at_raw_maximum, limit.changed, limit.cells) == (0, 1, 1, 1)
    assert found.deltas[1].before.shape == ()
    assert (found.changed_bytes, found.explained_bytes, found.checksum_bytes, found.unexplained_bytes) == (5, 5, 0, 0)
    assert found.sentence == "2 maps changed, 1 limiter, 1 block checksum does not hold."


def test_an_image_compared_with_itself_changes_nothing() -> None:
    found = compare(STOCK, engine(), ENGINE)
    assert found.identical
    assert (found.deltas, found.unexplained, found.changed_bytes) == ((), (), 0)
    assert found.sentence == "Nothing changed, 1 block checksum does not hold."


def test_a_breakpoint_moved_without_changing_the_surface_shows_as_no_change() -> None:
    """Torque rises by 0.1 N·m per 1/min from 1000 to 2000: at 1500 it is 250 N·m, raw 2500."""
    after = engine(speed=(1000, 1500, 3000, 4000), torque=(2000, 2500, 3500, 3000))
    before = engine(torque=(2000, 3000, 4000, 3500))
    straight = engine(speed=(1000, 1500, 3000, 4000), torque=(2000, 2500, 4000, 3500))
    delta = compare(before, straight, ENGINE).delta("torque limit")
    assert delta is not None and delta.grid is not None
    assert (delta.summary.changed, delta.summary.minimum, delta.summary.maximum) == (0, 0.0, 0.0)
    assert delta.summary.axes_changed == (True,)
    assert delta.grid.axes[0].values.tolist() == [1000, 1500, 2000, 3000, 4000]
    bent = compare(before, after, ENGINE).delta("torque limit")
    assert bent is not None and bent.grid is not None
    # At 2000: 250 + (350-250)/3 against 300; at 3000: 350 against 400; at 4000: 300 against 350.
    assert bent.grid.change == pytest.approx([0, 0, 250 + 100 / 3 - 300, -50, -50])


def test_values_rounded_to_the_stored_step_count_as_the_same_surface() -> None:
    """At 1333 the line gives 233.3 N·m, and 0.1 N·m is one step: rounding alone is no change."""
    before = engine(torque=(2000, 3001, 3500, 3000))
    after = engine(speed=(1000, 1333, 2000, 3000), torque=(2000, 2333, 3001, 3500))
    delta = compare(before, after, ENGINE).delta("torque limit")
    assert delta is not None and delta.grid is not None
    assert delta.grid.covered.tolist() == [True, True, True, True, False]
    assert delta.summary.uncovered == 1
    assert delta.summary.changed == 0


def test_only_the_common_range_counts() -> None:
    """Beyond 3000 only the map before has breakpoints; its values there are marked and count in no figure."""
    after = engine(speed=(500, 1000, 2000, 3000), torque=(1000, 2000, 3000, 3500))
    delta = compare(STOCK, after, ENGINE).delta("torque limit")
    assert delta is not None and delta.grid is not None
    assert delta.grid.axes[0].values.tolist() == [500, 1000, 2000, 3000, 4000]
    assert delta.grid.covered.tolist() == [False, True, True, True, False]
    assert delta.grid.change.tolist() == [-100, 0, 0, 0, 50]
    assert (delta.summary.changed, delta.summary.maximum, delta.summary.uncovered) == (0, 0.0, 2)


def test_a_shared_axis_changes_every_map_over_it() -> None:
    table = AxisDefinition("speed", count=4, address=0x8100, data_type="uint16")
    axis = AxisDefinition("speed", "shared", 4, shared="speed")
    over = [MapDefinition(name, "curve", at, axes=(axis,)) for name, at in (("one", 0x8120), ("two", 0x8124))]
    found = compare(STOCK, engine(speed=(1000, 2000, 3000, 4100)), Layout("shared", maps=tuple(over), axes=(table,)))
    assert [(d.name, d.axis_changed) for d in found.deltas] == [("one", True), ("two", True)]
    assert (found.changed_bytes, found.explained_bytes) == (2, 2)


def test_texts_and_switches_are_told_in_words() -> None:
    found = compare(STOCK, engine(label=b"TUNED", launch=1), ENGINE)
    label, launch = found.delta("label"), found.delta("launch control")
    assert label is not None and launch is not None
    assert (label.state_before.texts, label.state_after.texts) == (("STOCK",), ("TUNED",))
    assert (label.summary.compared, label.summary.changed, label.grid) == ("text", 5, None)
    assert (launch.state_before.texts, launch.state_after.texts) == (("off",), ("on",))


def test_a_bit_that_no_mask_covers_is_not_explained() -> None:
    found = compare(STOCK, engine(launch=0x10), ENGINE)
    assert found.deltas == ()
    assert [(r.address, r.before, r.after) for r in found.unexplained] == [(0x8151, b"\x00", b"\x10")]
    assert found.sentence == "No map changed, 1 byte unexplained, 1 block checksum does not hold."


def test_a_stored_checksum_comes_before_a_map_over_the_same_bytes() -> None:
    layout = Layout("both", maps=(MapDefinition("sum", "value", 0x81F0, data_type="uint16"),), checksums=(SUM,))
    found = compare(STOCK, engine(others=((0x81F0, b"\x01\x02"),)), layout)
    assert (found.checksum_bytes, found.explained_bytes, found.unexplained_bytes) == (2, 0, 0)
    assert found.delta("sum") is not None


def test_checksum_states_are_given_for_both_images() -> None:
    total = sum(STOCK.payload[:0x1F0])
    good = engine(others=((0x81F0, total.to_bytes(2, "big")),))
    bad = engine(limit=200, others=((0x81F0, total.to_bytes(2, "big")),))
    found = compare(good, bad, ENGINE)
    assert (found.checksums_before[0].state, found.checksums[0].state) == ("holds", "does not hold")
    assert compare(bad, good, ENGINE).sentence == "1 map changed, 1 limiter."
    assert compare(good, bad, ENGINE, checksums=False).checksums == ()


def test_without_a_layout_everything_is_unexplained() -> None:
    found = compare(STOCK, engine(limit=200, label=b"X"), None)
    assert (found.deltas, found.changed_bytes, found.unexplained_bytes) == ((), 6, 6)
    assert found.sentence == "6 bytes changed, no layout explains them."
    assert [(r.address, r.length, r.changed) for r in found.unexplained] == [(0x8150, 0x15, 6)]


def test_unexplained_bytes_join_across_fewer_than_sixteen_unchanged_ones() -> None:
    spots = ((0x81A0, b"\x01"), (0x81B0, b"\x01"), (0x81C1, b"\x01"))
    found = compare(STOCK, engine(others=spots), ENGINE)
    assert [(r.address, r.length, r.changed) for r in found.unexplained] == [(0x81A0, 17, 2), (0x81C1, 1, 1)]
    assert found.unexplained[0].after == b"\x01" + bytes(15) + b"\x01"


def test_explained_bytes_and_volatile_edges_part_unexplained_ranges() -> None:
    spots = ((0x814F, b"\x01"), (0x8152, b"\x01"), (0x817F, b"\x01"), (0x8180, b"\x01"))
    found = compare(STOCK, engine(limit=200, others=spots), ENGINE)
    assert [(r.address, r.length, r.note) for r in found.unexplained] == [
        (0x814F, 1, ""),
        (0x8152, 1, ""),
        (0x817F, 1, ""),
        (0x8180, 1, "learned idle values"),
    ]


def test_bytes_that_only_one_image_holds_are_changed_bytes() -> None:
    longer = Image.of([(s.address, s.data) for s in STOCK.segments] + [(0x9000, b"abc")])
    found = compare(STOCK, longer, ENGINE)
    assert [(r.address, r.before, r.after) for r in found.unexplained] == [(0x9000, None, b"abc")]
    assert compare(longer, STOCK, ENGINE).unexplained[0].before == b"abc"


def test_a_map_that_one_image_cannot_give_is_named() -> None:
    short = Image.of([(0x8000, STOCK.payload[:0x150])])
    found = compare(STOCK, short, ENGINE)
    assert [name for name, _ in found.unreadable] == ["speed limit", "launch control", "label"]
    assert (found.changed_bytes, found.unexplained_bytes, found.checksum_bytes) == (0xB0, 0xAE, 2)


def accounting(found: Comparison, before: Image, after: Image) -> None:
    """The identity, with the changed bytes counted by a plain loop."""
    old = {s.address + k: b for s in before.segments for k, b in enumerate(s.data)}
    new = {s.address + k: b for s in after.segments for k, b in enumerate(s.data)}
    changed = {a for a in old.keys() | new.keys() if old.get(a) != new.get(a)}
    assert set(found.changes.addresses.tolist()) == changed
    assert found.changed_bytes == len(changed)
    assert found.explained_bytes + found.checksum_bytes + found.unexplained_bytes == len(changed)
    assert sum(r.changed for r in found.unexplained) == found.unexplained_bytes
    unexplained = set(found.changes.addresses[found.changes.kind == UNEXPLAINED].tolist())
    listed = {a for r in found.unexplained for a in range(r.address, r.end)}
    assert unexplained <= listed
    assert not listed & set(found.changes.addresses[found.changes.kind != UNEXPLAINED].tolist())
    for r in found.unexplained:
        assert r.before is None or r.before == bytes(old[a] for a in range(r.address, r.end))
        assert r.after is None or r.after == bytes(new[a] for a in range(r.address, r.end))


def explained(found: Comparison, before: Image, after: Image, layout: Layout) -> None:
    """Explained bytes lie in changed maps, by the decoder; every changed map of the decoder is listed."""
    old, new = decode(before, layout), decode(after, layout)
    stored = {a for c in layout.checksums_in_image for a in range(*c.stored_range)}
    kinds = dict(zip(found.changes.addresses.tolist(), found.changes.kind.tolist(), strict=True))
    assert {a for a, kind in kinds.items() if kind == CHECKSUM} == stored & kinds.keys()
    for name in old.keys() & new.keys():
        first, second = state_of(old[name]), state_of(new[name])
        (delta,) = build_deltas([(_subject(layout, name), first, second)])
        listed = found.delta(name)
        differing = first.raw is None or not np.array_equal(first.raw, second.raw, equal_nan=True)
        if not first.same_axes(second) or differing:
            assert listed is not None, name
            assert repr(listed.summary) == repr(delta.summary)
            assert np.array_equal(listed.before, first.values, equal_nan=True)
            assert np.array_equal(listed.after, second.values, equal_nan=True)
        else:
            assert listed is None, name
    cells = {
        a
        for name in {d.name for d in found.deltas}
        for table in (old[name], new[name])
        for part in (table, *table.axes)
        if part.addresses is not None
        for first in part.addresses.ravel().tolist()
        for a in range(first, first + part.itemsize)
    }
    computed = {a for a, kind in kinds.items() if kind == EXPLAINED} - cells
    records = [layout.map(d.name) for d in found.deltas]
    assert not computed or any(m.record or any(a.record for a in (*m.axes, *layout.axes)) for m in records)


def _subject(layout: Layout, name: str):
    from app.calc.calibration.changed_maps import subject_of

    return subject_of(layout.map(name), layout.positions[name])


@given(st.data())
@settings(max_examples=200, deadline=None, suppress_health_check=SLOW)
def test_explained_checksum_and_unexplained_bytes_are_all_changed_bytes(data: st.DataObject) -> None:
    layout, before = data.draw(layouts()), data.draw(made_up())
    after = data.draw(edited(before, layout))
    if data.draw(st.booleans()):
        after = data.draw(resized(after))
    found = compare(before, after, layout)
    accounting(found, before, after)
    explained(found, before, after, layout)


@given(st.data())
@settings(max_examples=200, deadline=None, suppress_health_check=SLOW)
def test_the_way_back_is_the_change_with_the_other_sign(data: st.DataObject) -> None:
    layout, before = data.draw(layouts()), data.draw(made_up())
    after = data.draw(edited(before, layout))
    there, back = compare(before, after, layout), compare(after, before, layout)
    assert [d.name for d in there.deltas] == [d.name for d in back.deltas]
    for one, other in zip(there.deltas, back.deltas, strict=True):
        assert (one.grid is None) == (other.grid is None)
        if one.grid is not None and other.grid is not None:
            assert np.array_equal(one.grid.change, -other.grid.change, equal_nan=True)
            assert np.array_equal(one.grid.covered, other.grid.covered)
        assert one.summary.changed == other.summary.changed


def test_the_accounting_holds_for_images_that_share_nothing() -> None:
    rng = np.random.default_rng(1)
    before, after = (Image.of([(0x8000, rng.bytes(0x200))]) for _ in range(2))
    accounting(compare(before, after, ENGINE), before, after)
    assert changed_ranges(before, after).all.size == compare(before, after, ENGINE).changed_bytes


def test_a_conversion_without_values_gives_no_figures_but_the_change() -> None:
    """Raw 0 has no physical value under raw = 1/p."""
    reciprocal = Scaling(kind="rational", coefficients=(0.0, 0.0, 1.0, 0.0, 1.0, 0.0))
    layout = Layout("reciprocal", maps=(MapDefinition("period", "value", 0x8150, scaling=reciprocal),))
    delta = compare(STOCK, engine(limit=0), layout).delta("period")
    assert delta is not None
    assert (delta.summary.changed, delta.summary.maximum, delta.summary.largest) == (1, None, None)


def test_an_axis_that_is_not_monotonic_is_not_interpolated() -> None:
    delta = compare(STOCK, engine(speed=(1000, 3000, 2000, 4000)), ENGINE).delta("torque limit")
    assert delta is not None
    assert (delta.summary.compared, delta.grid, delta.summary.maximum) == ("not comparable", None, None)
    assert delta.summary.axes_changed == (True,)


def test_the_map_of_the_example_reads_as_the_layout_says() -> None:
    assert decode(STOCK, ENGINE)[SPARK.name].physical[1].tolist() == [9.0, 16.5, 24.0, 31.5]


def test_of_equal_changes_the_first_is_the_largest_whatever_the_last_bits_are() -> None:
    """Two steps of 0.1 N·m more in every cell: 200.2 - 200 and 350.2 - 350 differ in their last bits."""
    (delta,) = compare(engine(), engine(torque=(2002, 3002, 3502, 3002)), ENGINE).deltas
    assert int(np.argmax(delta.after - delta.before)) > 0
    assert delta.summary.largest is not None
    assert (delta.summary.largest.index, delta.summary.largest.change) == ((0,), pytest.approx(0.2))
