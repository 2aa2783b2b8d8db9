"""Layouts that grow from use."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition, VolatileRange
from app.calc.calibration.layout_edit import with_category, with_checksum, with_map, with_volatile
from app.calc.calibration.record_layout import Record, RecordPart
from app.errors import BadInput
from tests.calc.calibration.layouts import layouts

AXIS = AxisDefinition("x", count=4, address=0x10)
CURVE = MapDefinition("curve", "curve", 0x20, axes=(AXIS,), data_type="uint16")
LAYOUT = Layout(
    "l",
    maps=(CURVE, MapDefinition("bits", "value", 0x40, bit_mask=0x0F)),
    checksums=(ChecksumDefinition("sum", "SUM-16/8-BIT", ((0, 0x50),), 0x60),),
    volatile=(VolatileRange(0x70, 0x80, "learned"),),
)


def test_new_map_is_the_last_one_and_the_old_layout_stays() -> None:
    made = with_map(LAYOUT, MapDefinition("new", "block", 0x28, size=(8,)))
    assert [m.name for m in made.maps] == ["curve", "bits", "new"]
    assert len(LAYOUT.maps) == 2


@pytest.mark.parametrize(
    ("definition", "says"),
    [
        (MapDefinition("curve", "value", 0x100), "defined twice"),
        (MapDefinition("new", "value", 0x27), "overlaps 'curve' at 0x27"),
        (MapDefinition("new", "block", 0x1E, size=(3,)), "overlaps 'curve' at 0x20"),
        (MapDefinition("new", "value", 0x13), "overlaps 'curve' at 0x13"),
        (MapDefinition("new", "value", 0x40, bit_mask=0x18), "overlaps 'bits' at 0x40"),
        (MapDefinition("new", "value", 0x5D, data_type="uint32"), "checksum 'sum' is stored at 0x60, inside the map"),
        (MapDefinition("new", "curve", 0x100), "needs 1 axis"),
        (MapDefinition("new", "value", -1), "address"),
        (
            MapDefinition(
                "new", "curve", 0x19, axes=(AxisDefinition("x", "in record", 7),),
                record=Record("r", (RecordPart("axis", "uint8"), RecordPart("values", "uint8"))),
            ),
            "overlaps 'curve' at 0x20",
        ),
    ],
)  # fmt: skip
def test_map_that_cannot_be_is_refused_with_the_place(definition: MapDefinition, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        with_map(LAYOUT, definition)


@pytest.mark.parametrize(
    "definition",
    [
        MapDefinition("new", "value", 0x40, bit_mask=0x30),
        MapDefinition("new", "curve", 0x50, axes=(AXIS,)),
        MapDefinition("new", "block", 0x14, size=(12,)),
        MapDefinition("new", "value", 0x72),
    ],
)
def test_other_bits_common_breakpoints_and_neighbours_are_allowed(definition: MapDefinition) -> None:
    assert with_map(LAYOUT, definition).map("new") is definition


def test_map_may_be_moved_to_another_category() -> None:
    made = with_category(LAYOUT, "curve", "boost")
    assert [m.category for m in made.maps] == ["boost", "other"]
    with pytest.raises(BadInput, match="no map"):
        with_category(LAYOUT, "none", "boost")
    with pytest.raises(BadInput, match="allowed are fuel"):
        with_category(LAYOUT, "curve", "colour")  # type: ignore[arg-type]  # what a person may send


@pytest.mark.parametrize(
    ("name", "stored_at", "says"),
    [("sum", 0x90, "defined twice"), ("new", 0x60, "already stored"), ("new", 0x21, "inside the map 'curve'")],
)
def test_checksum_whose_place_is_taken_is_refused(name: str, stored_at: int, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        with_checksum(LAYOUT, ChecksumDefinition(name, "SUM-16/8-BIT", ((0, 0x50),), stored_at))


def test_new_checksum_and_volatile_range_are_added() -> None:
    checksum = ChecksumDefinition("new", "CRC-32/ISO-HDLC", ((0, 0x50),), 0x64)
    assert with_checksum(LAYOUT, checksum).checksums[-1] is checksum
    volatile = VolatileRange(0x80, 0x90, "counter")
    assert with_volatile(LAYOUT, volatile).volatile[-1] is volatile


@pytest.mark.parametrize("volatile", [VolatileRange(0x7F, 0x90, "more"), VolatileRange(0x90, 0x90, "empty")])
def test_volatile_range_that_cannot_be_is_refused(volatile: VolatileRange) -> None:
    with pytest.raises(BadInput):
        with_volatile(LAYOUT, volatile)


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(layouts())
def test_map_added_to_itself_is_always_an_overlap(layout: Layout) -> None:
    for definition in layout.maps:
        copy = replace(definition, name="copy")
        one = Layout("l", maps=(definition,), axes=layout.axes, address_base=layout.address_base)
        with pytest.raises(BadInput, match=r"overlaps|cannot be placed"):
            with_map(one, copy)
