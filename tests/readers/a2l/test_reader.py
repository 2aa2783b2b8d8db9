"""An A2L file of our own with an image, every expected number chosen before the file was packed."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.calc.calibration.decode import MapTable, decode, decode_axes, undecodable
from app.calc.calibration.image import Image
from app.calc.calibration.layout_check import check_layout
from app.errors import BadInput
from app.readers.a2l import A2lFile, read_a2l

GOLDEN = Path(__file__).parents[2] / "golden" / "layouts"
EXPECTED = json.loads((GOLDEN / "reference.json").read_text())["expected"]
PUBLISHED = json.loads((GOLDEN / "published_objects.json").read_text())["objects"]
MALFORMED = json.loads((GOLDEN / "malformed_a2l.json").read_text())


@pytest.fixture(scope="module")
def reference() -> A2lFile:
    return read_a2l((GOLDEN / "reference.a2l").read_bytes())


@pytest.fixture(scope="module")
def image() -> Image:
    return Image.of([(0x1000, (GOLDEN / "reference.bin").read_bytes())])


def check(table: MapTable, expected: dict[str, Any]) -> int:
    """Compare everything the reference says about one object; returns the number of comparisons."""
    close = {"rtol": 0, "atol": 1e-9}
    done = 0
    for key, wanted in expected.items():
        if key == "raw":
            np.testing.assert_array_equal(table.raw, wanted)
        elif key == "phys" and isinstance(wanted, str):
            assert table.labels == [wanted]
        elif key == "phys":
            np.testing.assert_allclose(table.physical, wanted, **close)
        elif key == "value_y_x":
            np.testing.assert_array_equal(table.raw, wanted)
        elif key == "text":
            assert table.text == wanted
        elif key == "axis_phys":
            axes = wanted if isinstance(wanted[0], list) else [wanted]
            for axis, values in zip(table.axes, axes, strict=True):
                np.testing.assert_allclose(axis.values, values, **close)
        elif key == "pairs_ascending":
            pairs = np.stack([table.axes[0].raw, table.raw], axis=1)  # type: ignore[list-item]  # a stored axis
            np.testing.assert_array_equal(pairs, wanted)
        else:
            continue
        done += 1
    return done


@pytest.mark.parametrize("expected", [e for e in EXPECTED if e["type"] != "AXIS_PTS"], ids=lambda e: e["name"])
def test_object_of_the_reference_decodes_as_packed(reference: A2lFile, image: Image, expected: dict[str, Any]) -> None:
    assert check(decode(image, reference.layout)[expected["name"]], expected) > 0


@pytest.mark.parametrize("expected", [e for e in EXPECTED if e["type"] == "AXIS_PTS"], ids=lambda e: e["name"])
def test_common_axis_has_the_points_in_use(reference: A2lFile, image: Image, expected: dict[str, Any]) -> None:
    axis = decode_axes(image, reference.layout)[expected["name"]]
    np.testing.assert_array_equal(axis.raw, expected["raw"])  # type: ignore[arg-type]  # a stored axis has raw values
    np.testing.assert_allclose(axis.values, expected["phys"], rtol=0, atol=1e-9)


def test_nothing_of_the_reference_is_left_out(reference: A2lFile, image: Image) -> None:
    assert reference.counts["CHARACTERISTIC"] == 32
    assert reference.counts["RECORD_LAYOUT"] == 16
    assert (reference.skipped, reference.not_decoded, reference.questions) == ((), (), ())
    assert undecodable(image, reference.layout) == ()
    check_layout(reference.layout)


def test_values_follow_the_points_in_use_unless_the_record_is_static(reference: A2lFile, image: Image) -> None:
    tables = decode(image, reference.layout)
    assert tables["C.std"].addresses[0] == 0x1088
    assert tables["C.static"].addresses[0] == 0x10A2


def test_software_identifier_is_known_with_its_place(reference: A2lFile) -> None:
    assert (reference.identifier, reference.identifier_addresses) == ("REF-EPK-1", (0x1000,))
    assert reference.layout.software_number == "REF-EPK-1"


# What the nine published objects need besides their bytes, taken from the description file that goes with them.
# {layout}, {method} and {tail} are written into one module for each object.
PUBLISHED_A2L = {
    "CDF20.scalar.FW_wU16": ("VALUE", "FNC_VALUES 1 UWORD COLUMN_DIR DIRECT", "0 81.9175 0 0 0 1", ""),
    "CDF20.MATRIX_DIM.N341_wS8": (
        "VAL_BLK", "FNC_VALUES 1 SBYTE COLUMN_DIR DIRECT", "0 81.9175 0 0 0 1", "MATRIX_DIM 3 4 1",
    ),
    "CDF20.Dependent.Base.FW_wU16": ("VALUE", "FNC_VALUES 1 UWORD COLUMN_DIR DIRECT", "0 1 0 0 0 1", ""),
    "CDF20.curve.FKL_xFIX_wU8": (
        "CURVE", "NO_AXIS_PTS_X 1 UWORD FNC_VALUES 2 UBYTE COLUMN_DIR DIRECT", "0 256.4102564 0 0 0 1",
        "/begin AXIS_DESCR FIX_AXIS N AXIS 6 0 255 FIX_AXIS_PAR_DIST 1 1 6 /end AXIS_DESCR",
    ),
    "CDF20.curve.KL_xU8_wU8": (
        "CURVE", "NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE COLUMN_DIR DIRECT",
        "0 256.4102564 0 0 0 1", "/begin AXIS_DESCR STD_AXIS N AXIS 11 0 255 /end AXIS_DESCR",
    ),
    "CDF20.axis.X_CU_AXIS_xU16_wU8": (
        "CURVE", "AXIS_PTS_X 1 UWORD INDEX_DECR DIRECT FNC_VALUES 2 UBYTE COLUMN_DIR DIRECT", "0 10 0 0 0 1",
        "/begin AXIS_DESCR STD_AXIS N AXIS 5 0 999 /end AXIS_DESCR",
    ),
    "CDF20.axis.Y_CU_AXIS_xU16_wU8": (
        "CURVE", "AXIS_PTS_X 1 UWORD INDEX_DECR DIRECT FNC_VALUES 2 UBYTE COLUMN_DIR DIRECT", "0 10 0 0 0 1",
        "/begin AXIS_DESCR STD_AXIS N PLAIN 4 0 999 /end AXIS_DESCR",
    ),
    "CDF20.curve.GKL_xCOM_wU16": (
        "CURVE", "RESERVED 1 WORD FNC_VALUES 2 UWORD COLUMN_DIR DIRECT", "0 256.4102564 0 0 0 1",
        "/begin AXIS_DESCR COM_AXIS N AXIS 15 0 255 AXIS_PTS_REF COMMON /end AXIS_DESCR",
    ),
    "CDF20.curve.KL_xRESs8_wS16": (
        "CURVE", "FNC_VALUES 1 SWORD COLUMN_DIR DIRECT", "0 256.4102564 0 0 0 1",
        "/begin AXIS_DESCR RES_AXIS N AXIS 9 0 255 AXIS_PTS_REF RESCALED /end AXIS_DESCR",
    ),
}  # fmt: skip
PUBLISHED_FRAME = """/begin PROJECT P "" /begin MODULE M ""
/begin MOD_COMMON "" BYTE_ORDER MSB_LAST ALIGNMENT_WORD 1 /end MOD_COMMON
/begin COMPU_METHOD AXIS "" RAT_FUNC "%5.0" "" COEFFS 0 1 50 0 0 1 /end COMPU_METHOD
/begin COMPU_METHOD PLAIN "" RAT_FUNC "%5.0" "" COEFFS 0 1 0 0 0 1 /end COMPU_METHOD
/begin COMPU_METHOD CM "" RAT_FUNC "%5.4" "" COEFFS {method} /end COMPU_METHOD
/begin RECORD_LAYOUT RL {record} /end RECORD_LAYOUT
/begin RECORD_LAYOUT RA NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT RR NO_AXIS_PTS_X 1 UBYTE AXIS_RESCALE_X 2 UBYTE 2 INDEX_INCR DIRECT /end RECORD_LAYOUT
/begin AXIS_PTS COMMON "" 0x100 N RA 0 AXIS 15 0 255 /end AXIS_PTS
/begin AXIS_PTS RESCALED "" 0x200 N RR 0 PLAIN 9 0 255 /end AXIS_PTS
/begin CHARACTERISTIC {name} "" {kind} {address} RL 0 CM 0 999 {tail} /end CHARACTERISTIC
/end MODULE /end PROJECT"""


@pytest.mark.parametrize("published", PUBLISHED, ids=lambda e: e["name"])
def test_published_object_decodes_to_its_published_values(published: dict[str, Any]) -> None:
    # ASAM CDF 2.0 demonstration files: bytes of the .hex, values of the .cdfx, rounded there.
    name, address = published["name"], published["address"]
    kind, record, method, tail = PUBLISHED_A2L[name]
    text = PUBLISHED_FRAME.format(name=name, kind=kind, address=address, record=record, method=method, tail=tail)
    layout = read_a2l(text.encode("latin-1")).layout
    common = bytes([5, 102, 105, 106, 114, 116])
    rescaled = bytes([9, 0, 0, 200, 255])
    image = Image.of([(int(address, 16), bytes.fromhex(published["bytes"])), (0x100, common), (0x200, rescaled)])
    table = decode(image, layout)[name]
    wanted = published["published_cdfx"]
    values = wanted["values"] if isinstance(wanted, dict) else wanted
    np.testing.assert_allclose(table.physical, values, rtol=0, atol=5e-9)
    if isinstance(wanted, dict):
        np.testing.assert_allclose(table.axes[0].values, wanted["axis"], rtol=0, atol=5e-9)


@pytest.mark.parametrize("name", MALFORMED)
def test_damaged_file_is_refused_with_its_line(name: str) -> None:
    data = (GOLDEN / "malformed_a2l" / f"{name}.a2l").read_bytes()
    with pytest.raises(BadInput) as caught:
        read_a2l(data)
    assert {"where": caught.value.where, "says": caught.value.sentence} == MALFORMED[name]


def test_every_malformed_file_has_its_expectation() -> None:
    assert {path.stem for path in (GOLDEN / "malformed_a2l").iterdir()} == set(MALFORMED)
    assert len(read_a2l((GOLDEN / "sound.a2l").read_bytes()).layout.maps) == 6


def sound() -> str:
    return (GOLDEN / "sound.a2l").read_text()


def test_old_byte_order_words_are_asked_about_and_then_obeyed() -> None:
    # The reversed meaning is seen in three independent readers, the plain one in two: so a person decides.
    text = sound().replace("MSB_FIRST", "BIG_ENDIAN").encode()
    with pytest.raises(BadInput) as caught:
        read_a2l(text)
    assert caught.value.field == "legacy_byte_order"
    standard = read_a2l(text, legacy_byte_order="standard")
    written = read_a2l(text, legacy_byte_order="as written")
    assert {m.byte_order for m in standard.layout.maps} == {"little"}
    assert {m.byte_order for m in written.layout.maps} == {"big"}
    assert len(standard.questions) == 1


def test_old_words_in_blocks_nobody_decodes_ask_nothing() -> None:
    text = sound().replace(
        "/begin AXIS_PTS", '/begin MEASUREMENT X "" BYTE_ORDER BIG_ENDIAN /end MEASUREMENT\n/begin AXIS_PTS'
    )
    assert read_a2l(text.encode()).questions == ()


def test_missing_byte_order_is_taken_high_byte_first_and_said() -> None:
    found = read_a2l(sound().replace(" BYTE_ORDER MSB_FIRST", "").encode())
    assert {m.byte_order for m in found.layout.maps} == {"big"}
    assert "high byte first" in found.questions[0]


def test_unknown_keywords_are_passed_over_and_listed() -> None:
    text = sound().replace("CM_VERB 0 255", 'CM_VERB 0 255 FOO_BAR 3 "x" /begin OWN a /begin OWN 1 /end OWN /end OWN')
    text = text.replace(
        "    /begin MOD_PAR", '    ODD_WORD 1\n    /begin STRANGE "" 1 /end STRANGE\n    /begin MOD_PAR'
    )
    found = read_a2l(text.encode())
    assert set(found.skipped) == {"FOO_BAR", "OWN", "ODD_WORD", "STRANGE"}
    assert found.layout.maps == read_a2l(sound().encode()).layout.maps


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("UBYTE ROW_DIR DIRECT", "UBYTE ROW_DIR PLONG", "pointer"),
        ('D "block" VAL_BLK', 'D "block" CUBOID', "more than two axes"),
        ("CM_VERB 0 255", 'CM_VERB 0 255 /begin VIRTUAL_CHARACTERISTIC "X1" A /end VIRTUAL_CHARACTERISTIC', "virtual"),
    ],
)
def test_items_outside_the_subset_are_listed_with_the_reason(old: str, new: str, reason: str) -> None:
    found = read_a2l(sound().replace(old, new).encode())
    assert found.not_decoded
    assert reason in found.not_decoded[0][1]
    assert not {name for name, _ in found.not_decoded} & found.layout.positions.keys()


def test_breakpoints_beyond_the_range_of_floats_are_refused_at_their_line() -> None:
    with pytest.raises(BadInput, match="FIX_AXIS_PAR_DIST gives breakpoints that are too large") as caught:
        read_a2l(sound().replace("FIX_AXIS_PAR_DIST 0 10 4", "FIX_AXIS_PAR_DIST 0 1e308 4").encode())
    assert caught.value.where == "line 22"


def test_what_is_not_decoded_is_told_in_words_and_counts() -> None:
    more = (
        '/begin TYPEDEF_STRUCTURE t "" 8 /end TYPEDEF_STRUCTURE /begin TYPEDEF_AXIS a "" NO_INPUT R 0 NO 4 0 9'
        ' /end TYPEDEF_AXIS /begin INSTANCE i1 "" t 0x10 /end INSTANCE /begin INSTANCE i2 "" t 0x20 /end INSTANCE'
        ' /begin BLOB b "" 0x40 8 /end BLOB\n'
    )
    text = (
        sound()
        .replace('D "block" VAL_BLK', 'D "block" CUBOID')
        .replace("    /begin MOD_PAR", more + "    /begin MOD_PAR")
    )
    found = read_a2l(text.encode())
    assert found.notes[0].startswith("1 item cannot be decoded (1: CUBOID has more than two axes). What")
    assert found.notes[1].startswith(
        "Objects that are not decoded: 2 of the kind INSTANCE and 1 of the kind BLOB, described by 2 TYPEDEF blocks."
    )
    assert all("unexplained bytes" in note for note in found.notes)
    assert (found.counts["INSTANCE"], found.skipped) == (2, ())


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_units_survive_every_encoding(encoding: str) -> None:
    found = read_a2l(sound().replace('"degC"', '"°C"').encode(encoding))
    assert found.layout.map("A").scaling.unit == "°C"


def test_categories_come_from_groups_and_words() -> None:
    groups = """/begin FUNCTION Fn1 "Fuel injection" /begin DEF_CHARACTERISTIC A E /end DEF_CHARACTERISTIC /end FUNCTION
    /begin GROUP G1 "Ignition" ROOT /begin REF_CHARACTERISTIC D /end REF_CHARACTERISTIC /end GROUP
    /begin MOD_PAR"""
    text = sound().replace("    /begin MOD_PAR", groups).replace('B "second"', 'B "upper limit of boost"')
    layout = read_a2l(text.encode()).layout
    found = {name: layout.map(name).category for name in "ABDEF"}
    assert found == {"A": "fuel", "B": "limiter", "D": "ignition", "E": "fuel", "F": "other"}


def test_progress_goes_up_to_the_whole() -> None:
    many = "".join(
        f'/begin CHARACTERISTIC N{k} "" VALUE 0x1000 RL 0 CM_LIN 0 255 /end CHARACTERISTIC\n' for k in range(20000)
    )
    steps: list[tuple[int, int]] = []
    text = sound().replace("  /end MODULE", many + "  /end MODULE")
    read_a2l(text.encode(), progress=lambda *step: steps.append(step))
    assert steps == sorted(steps)
    assert steps[-1][0] == steps[-1][1]
    assert len(steps) > 20


def test_address_outside_the_image_is_said_and_never_read_as_zeros(reference: A2lFile, image: Image) -> None:
    part = Image.of([(0x1000, image.payload[:0x90])])
    left_out = dict(undecodable(part, reference.layout))
    assert "M.com" in left_out
    assert left_out.keys().isdisjoint(decode(part, reference.layout))
    assert left_out.keys() | decode(part, reference.layout).keys() == reference.layout.positions.keys()


@pytest.mark.parametrize("count", [0, 7, 255])
def test_impossible_number_of_points_is_corrupt_and_never_trusted(reference: A2lFile, image: Image, count: int) -> None:
    damaged = image.patched([(0x1060, bytes([count]))])
    left_out = dict(undecodable(damaged, reference.layout))
    assert left_out.keys() == {"C.com", "M.com"}
    assert f"{count} points are in use" in left_out["C.com"]
