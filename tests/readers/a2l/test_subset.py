"""Forms that the reference objects do not have, each worked out by hand from the rules of ASAP2 1.6."""

import numpy as np
import pytest

from app.calc.calibration.decode import MapTable, decode
from app.calc.calibration.image import Image
from app.readers.a2l import A2lFile, read_a2l

FRAME = """/begin PROJECT P "" /begin MODULE M ""
/begin MOD_COMMON "" BYTE_ORDER MSB_FIRST /end MOD_COMMON
/begin COMPU_METHOD TWICE "" LINEAR "%4.1" "u" COEFFS_LINEAR 2 0 /end COMPU_METHOD
{}
/end MODULE /end PROJECT"""
# Byte k of the image holds k.
IMAGE = Image.of([(0, bytes(range(200)))])


def read(blocks: str) -> A2lFile:
    return read_a2l(FRAME.format(blocks).encode())


def decoded(blocks: str) -> MapTable:
    return decode(IMAGE, read(blocks).layout)["C"]


def curve(record: str, axis: str, *, at: int = 0x10, more: str = "", name: str = "C") -> str:
    """A curve with a record layout of its own."""
    return (
        f"/begin RECORD_LAYOUT R{name} {record} /end RECORD_LAYOUT /begin CHARACTERISTIC {name} "
        f'"" CURVE {at} R{name} 0 TWICE 0 999 /begin AXIS_DESCR {axis} /end AXIS_DESCR {more} /end CHARACTERISTIC '
    )


VALUES = "FNC_VALUES 9 UBYTE ROW_DIR DIRECT"
FLOATS = "AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 FLOAT64_IEEE ROW_DIR DIRECT"


def values_of(table: MapTable) -> list[float]:
    found: list[float] = table.axes[0].values.tolist()
    return found


def test_axis_from_an_offset_and_a_distance_in_the_record() -> None:
    record = f"OFFSET_X 1 UBYTE DIST_OP_X 2 UBYTE {VALUES}"
    table = decoded(curve(record, "STD_AXIS N NO_COMPU_METHOD 3 0 999"))
    assert values_of(table) == [16, 33, 50]
    assert table.raw.tolist() == [18, 19, 20]


def test_axis_from_an_offset_and_a_shift_with_a_fixed_number_of_points() -> None:
    record = f"OFFSET_X 1 UBYTE SHIFT_OP_X 2 UBYTE FIX_NO_AXIS_PTS_X 4 {VALUES}"
    table = decoded(curve(record, "STD_AXIS N TWICE 9 0 999", at=2))
    assert values_of(table) == [4, 20, 36, 52]
    assert table.raw.tolist() == [4, 5, 6, 7]


def test_axis_stored_as_differences() -> None:
    record = f"AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT {VALUES}"
    table = decoded(curve(record, "STD_AXIS N NO_COMPU_METHOD 3 0 999 DEPOSIT DIFFERENCE"))
    assert values_of(table) == [16, 33, 51]


def test_identification_and_reserved_parts_are_stepped_over() -> None:
    record = f"IDENTIFICATION 1 UBYTE RESERVED 2 LONG AXIS_PTS_X 3 UBYTE INDEX_INCR DIRECT {VALUES}"
    table = decoded(curve(record, "STD_AXIS N NO_COMPU_METHOD 2 0 999"))
    assert values_of(table) == [0x18, 0x19]
    assert table.physical.tolist() == [2 * 0x1A, 2 * 0x1B]


def test_alignment_of_the_record_counts_before_that_of_the_module() -> None:
    record = "AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UWORD ROW_DIR DIRECT ALIGNMENT_WORD {}"
    axis = "STD_AXIS N NO_COMPU_METHOD 3 0 999"
    assert decoded(curve(record.format(1), axis)).addresses[0] == 0x13
    assert decoded(curve(record.format(2), axis)).addresses[0] == 0x14
    assert decoded(curve(record.format(8), axis)).addresses[0] == 0x18


def test_axis_over_another_curve_counts_its_positions() -> None:
    other = curve(VALUES, "FIX_AXIS N TWICE 3 0 99 FIX_AXIS_PAR 1 0 3", name="O")
    table = decoded(other + curve(VALUES, "CURVE_AXIS N NO_COMPU_METHOD 3 0 9 CURVE_AXIS_REF O"))
    assert values_of(table) == [0, 1, 2]
    assert table.axes[0].name == "position from O"


def test_rescaled_axis_spreads_its_points_between_pairs() -> None:
    # Positions k * 256 / 4 between the pairs (80, 81) and (82, 83) are held at both ends by the first and last pair.
    blocks = (
        "/begin RECORD_LAYOUT RR AXIS_RESCALE_X 1 UBYTE 2 INDEX_INCR DIRECT /end RECORD_LAYOUT"
        '/begin AXIS_PTS AX "" 80 N RR 0 NO_COMPU_METHOD 5 0 255 /end AXIS_PTS'
    )
    table = decoded(
        blocks.replace("LAYOUT/", "LAYOUT /") + curve(VALUES, "RES_AXIS N NO_COMPU_METHOD 5 0 255 AXIS_PTS_REF AX")
    )
    assert values_of(table) == [80, 80, 82, 82, 82]


def test_unit_and_places_of_the_item_count_before_those_of_the_conversion() -> None:
    table = decoded(curve(VALUES, "FIX_AXIS N TWICE 2 0 9 FIX_AXIS_PAR 0 0 2", more='PHYS_UNIT "kPa" FORMAT "%9.3"'))
    assert (table.unit, table.decimals, table.axes[0].unit) == ("kPa", 3, "u")


def test_byte_order_of_an_axis_may_differ_from_its_map() -> None:
    record = "AXIS_PTS_X 1 UWORD INDEX_INCR DIRECT FNC_VALUES 2 UWORD ROW_DIR DIRECT"
    table = decoded(curve(record, "STD_AXIS N NO_COMPU_METHOD 1 0 999 BYTE_ORDER MSB_LAST"))
    assert (values_of(table), table.raw.tolist()) == ([0x1110], [0x1213])


def test_third_dimension_of_a_block_goes_on_below() -> None:
    text = f"/begin RECORD_LAYOUT R {VALUES} /end RECORD_LAYOUT"
    block = '/begin CHARACTERISTIC C "" VAL_BLK 0 R 0 TWICE 0 9 MATRIX_DIM 2 2 2 /end CHARACTERISTIC'
    assert decoded(text + block).raw.tolist() == [[0, 1], [2, 3], [4, 5], [6, 7]]


def test_breakpoints_that_no_map_uses_keep_their_name_as_a_block() -> None:
    text = "/begin RECORD_LAYOUT R NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT /end RECORD_LAYOUT"
    table = decoded(text + ' /begin AXIS_PTS C "boost axis" 3 N R 0 TWICE 5 0 99 /end AXIS_PTS')
    assert (table.kind, table.category) == ("block", "boost")
    np.testing.assert_array_equal(table.physical, [8, 10, 12])


@pytest.mark.parametrize(
    ("blocks", "question"),
    [
        (curve(FLOATS, "STD_AXIS N TWICE 2 0 9"), "aligned"),
        (curve(VALUES, "FIX_AXIS N TWICE 2 0 9 FIX_AXIS_PAR 0 0 2", more="ECU_ADDRESS_EXTENSION 1"), "another memory"),
    ],
)  # fmt: skip
def test_what_the_file_leaves_open_is_asked(blocks: str, question: str) -> None:
    assert question in read(blocks).questions[0]


def test_conversion_that_cannot_be_computed_leaves_out_only_its_items() -> None:
    method = '/begin COMPU_METHOD ODD "" FORM "%3.0" "" /begin FORMULA "X1 & X2" /end FORMULA /end COMPU_METHOD '
    good = curve(VALUES, "FIX_AXIS N TWICE 2 0 9 FIX_AXIS_PAR 0 0 2")
    bad = '/begin CHARACTERISTIC BAD "" VALUE 1 RC 0 ODD 0 9 /end CHARACTERISTIC '
    found = read(method + bad + good)
    assert [m.name for m in found.layout.maps] == ["C"]
    assert found.not_decoded[0][0] == "BAD"
    assert "not understood" in found.not_decoded[0][1]
