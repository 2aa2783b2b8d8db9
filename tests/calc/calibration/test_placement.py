"""Where the parts of a record lie: positions worked out by hand from the rules of ASAP2 1.6."""

import pytest

from app.calc.calibration.decode import decode
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.record_layout import Record, RecordPart, StaticKind

COUNTED = (
    RecordPart("count", "uint8", 0),
    RecordPart("count", "uint8", 1),
    RecordPart("axis", "uint16", 0, alignment=2),
    RecordPart("axis", "uint8", 1),
    RecordPart("values", "uint16", alignment=2),
)
AXES = (AxisDefinition("x", "in record", 4), AxisDefinition("y", "in record", 3))
IMAGE = Image.of([(0x100, bytes([2, 2]) + bytes(range(2, 80)))])


@pytest.mark.parametrize(
    ("static", "y_address", "addresses"),
    [
        ("packed", 0x106, [[0x108, 0x10A], [0x10C, 0x10E]]),
        ("parts", 0x10A, [[0x10E, 0x110], [0x112, 0x114]]),
        ("cells", 0x10A, [[0x10E, 0x110], [0x116, 0x118]]),
    ],
)
def test_parts_follow_the_points_in_use_or_keep_their_places(
    static: StaticKind, y_address: int, addresses: list[list[int]]
) -> None:
    definition = MapDefinition("m", "map", 0x100, axes=AXES, data_type="uint16", record=Record("r", COUNTED, static))
    table = decode(IMAGE, Layout("l", maps=(definition,)))["m"]
    assert table.axes[1].addresses is not None
    assert table.axes[1].addresses[0] == y_address
    assert table.addresses.tolist() == addresses


def test_first_part_stays_at_the_records_address_and_later_ones_are_aligned() -> None:
    record = Record("r", (RecordPart("axis", "uint8", alignment=4), RecordPart("values", "uint16", alignment=2)))
    definition = MapDefinition(
        "m", "curve", 0x103, axes=(AxisDefinition("x", "in record", 2),), data_type="uint16", record=record
    )
    table = decode(IMAGE, Layout("l", maps=(definition,)))["m"]
    assert table.axes[0].addresses is not None
    assert (table.axes[0].addresses[0], table.addresses[0]) == (0x103, 0x106)


def test_evenly_spaced_axis_may_keep_its_parameters_in_the_record() -> None:
    parts = (RecordPart("offset", "uint8"), RecordPart("distance", "uint8"), RecordPart("values", "uint8"))
    definition = MapDefinition(
        "m", "curve", 0x110, axes=(AxisDefinition("x", "in record", 3),), record=Record("r", parts)
    )
    table = decode(IMAGE, Layout("l", maps=(definition,)))["m"]
    assert table.axes[0].values.tolist() == [16, 33, 50]
    assert table.addresses.tolist() == [0x112, 0x113, 0x114]
    shifted = Record("r", (RecordPart("offset", "uint8"), RecordPart("shift", "uint8"), RecordPart("values", "uint8")))
    second = MapDefinition("s", "curve", 0x102, axes=(AxisDefinition("x", "in record", 3),), record=shifted)
    assert decode(IMAGE, Layout("l", maps=(second,)))["s"].axes[0].values.tolist() == [2, 10, 18]
