"""Our own table form for layouts."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout import AxisDefinition, Layout, VolatileRange
from app.calc.calibration.layout_check import check_layout
from app.calc.calibration.scaling import Scaling
from app.errors import BadInput
from app.readers.layout_csv import layout_csv_template, read_layout_csv

GOLDEN = Path(__file__).parents[1] / "golden" / "layouts"
SOUND = (GOLDEN / "sound.csv").read_text()
MALFORMED = json.loads((GOLDEN / "malformed_csv.json").read_text())


@pytest.fixture(scope="module")
def layout() -> Layout:
    return read_layout_csv(SOUND.encode())


def test_map_with_axes_is_read_as_written(layout: Layout) -> None:
    found = layout.map("fuel base")
    assert (found.kind, found.shape, found.address, found.category) == ("map", (2, 4), 0x100, "fuel")
    assert found.scaling == Scaling.linear(0.25, 0, unit="ms")
    assert found.decimals == 2
    x, y = found.axes
    assert (x.address, x.count, x.data_type, x.byte_order) == (0x110, 4, "uint16", "big")
    assert y == AxisDefinition.fixed("y axis", (10.0, 20.0))


def test_text_checksum_and_volatile_range_are_read(layout: Layout) -> None:
    assert (layout.map("part number").kind, layout.map("part number").size) == ("text", (8,))
    assert layout.checksums == (ChecksumDefinition("block", "SUM-16/8-BIT", ((0x100, 0x180),), 0x180),)
    assert layout.volatile == (VolatileRange(0x190, 0x1A0, "learned values"),)


def test_checksum_over_several_ranges_takes_a_line_for_each() -> None:
    head = "what,name,address,last address,algorithm,stored at\n"
    lines = "checksum,c,0x0,0xF,SUM-16/8-BIT,0x40\nchecksum,c,0x20,0x2F,,\n"
    assert read_layout_csv((head + lines).encode()).checksums[0].ranges == ((0, 0x10), (0x20, 0x30))
    with pytest.raises(BadInput, match="described differently"):
        read_layout_csv((head + lines + "checksum,c,0x50,0x5F,SUM-8,\n").encode())


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_spreadsheet_habits_make_no_difference(layout: Layout, encoding: str, separator: str, ending: str) -> None:
    text = SOUND.replace(",", separator).replace("\n", ending)
    if separator != ",":
        text = f"sep={separator}{ending}" + text.replace("0.25", "0,25")
    assert read_layout_csv(text.encode(encoding)) == layout


def test_columns_may_stand_in_any_order_and_case() -> None:
    found = read_layout_csv(b"Data_Type,ADDRESS,  Name\nint16,0x20,idle speed\n").map("idle speed")
    assert (found.kind, found.data_type, found.address) == ("value", "int16", 0x20)


def test_category_is_guessed_only_where_it_is_empty() -> None:
    found = read_layout_csv(b"name,address,category\nboost target,0x20,\nboost limit,0x21,torque\n")
    assert (found.map("boost target").category, found.map("boost limit").category) == ("boost", "torque")


def test_template_shows_every_heading_and_its_examples_are_true() -> None:
    text = layout_csv_template().decode("utf-8-sig")
    with pytest.raises(BadInput, match="no maps"):
        read_layout_csv(text.encode())
    head, examples = text.split("\r\n", 1)[0], text.split("# Examples:\r\n")[1]
    filled = read_layout_csv((head + "\r\n" + examples.replace("# ", "")).encode())
    assert (filled.name, filled.software_number) == ("Example unit 1", "SW-0000")
    assert [m.kind for m in filled.maps] == ["map", "value"]
    assert len(filled.checksums) == len(filled.volatile) == 1


@pytest.mark.parametrize("name", MALFORMED)
def test_faulty_table_is_refused_at_its_cell(name: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_layout_csv((GOLDEN / "malformed_csv" / f"{name}.csv").read_bytes())
    assert {"where": caught.value.where, "says": caught.value.sentence} == MALFORMED[name]


def test_every_faulty_table_has_its_expectation() -> None:
    assert {path.stem for path in (GOLDEN / "malformed_csv").iterdir()} == set(MALFORMED)


cells = st.one_of(
    st.sampled_from(
        ["", "0", "-1", "0x10", "1e9", "nan", "text", "uint64", "1 2 3", "65535", "0xFFFFFFFFFFFF", '"', "#"]
    ),
    st.text(max_size=6),
)


@settings(max_examples=1_000, deadline=None)
@given(edits=st.lists(st.tuples(st.integers(0, 200), cells), min_size=1, max_size=5))
def test_mutated_table_is_read_or_refused(edits: list[tuple[int, str]]) -> None:
    words = SOUND.split(",")
    for at, new in edits:
        words[at % len(words)] = new
    try:
        found = read_layout_csv(",".join(words).encode("utf-8", "replace"))
    except BadInput:
        return
    check_layout(found)


@settings(max_examples=300, deadline=None)
@given(data=st.binary(max_size=100))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    for whole in (data, SOUND.encode()[:100] + data):
        try:
            read_layout_csv(whole)
        except BadInput:
            continue
