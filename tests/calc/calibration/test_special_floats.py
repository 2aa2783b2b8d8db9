"""The shop can rely on it that float cells of any bits, infinite or no number, break no comparison and no export.

The bit patterns are those of IEEE 754: an exponent of all ones stands for infinity, or with a fraction for no number.
"""

import csv
import io
import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.decode import decode
from app.calc.calibration.delta import compare
from app.calc.calibration.delta_algebra import apply, compose, invert
from app.calc.calibration.delta_export import comparison_csv, comparison_json
from app.calc.calibration.delta_json import comparison_from_json
from app.calc.calibration.delta_pack import pack_map_delta, unpack_map_delta
from app.calc.calibration.delta_warnings import CategoryRule, WarningRules, with_warnings
from app.calc.calibration.image import Image
from app.calc.calibration.layout import CATEGORIES, AxisDefinition, Layout, MapDefinition
from app.calc.calibration.port import MODES, Mode, port
from app.calc.calibration.scaling import Scaling
from tests.calc.calibration.pairs import same_delta

X = AxisDefinition("engine speed", count=3, address=0, data_type="float32", byte_order="little")
Y = AxisDefinition("load", count=2, address=0x10, data_type="float32", byte_order="little")
TRIM = MapDefinition("trim", "map", 0x20, "fuel", data_type="float32", byte_order="little", axes=(X, Y))
ONE = MapDefinition("one", "value", 0x38, "limiter", data_type="float32", byte_order="little")
SCALED = MapDefinition(
    "scaled", "curve", 0x40, "boost", scaling=Scaling.linear(2.0, -1.0, unit="bar"), axes=(X,), data_type="float32",
    byte_order="little",
)  # fmt: skip
# Whole numbers whose values leave the range of floats, over breakpoints that do.
STEEP = MapDefinition(
    "steep", "curve", 0x50, scaling=Scaling.linear(1e307), data_type="int16",
    axes=(AxisDefinition("far", count=3, address=0x56, data_type="uint16", scaling=Scaling.linear(1e304)),),
)  # fmt: skip
FLOATS = Layout("floats", maps=(TRIM, ONE, SCALED, STEEP))
EVERY_RULE = WarningRules(
    categories={category: CategoryRule(True, 0.1, 1.0, 1.5) for category in CATEGORIES},
)
SPECIAL = ("0000807f", "000080ff", "0000c07f", "0100a07f", "ffffffff", "ffff7f7f", "ffff7fff", "00000080", "0000803f")

cells = st.sampled_from(SPECIAL).map(bytes.fromhex) | st.floats(-1e4, 1e4, width=32).map(
    lambda value: np.float32(value).tobytes()
)


def image(
    x: Any = (1000, 2000, 3000), y: Any = (20, 80), trim: Any = range(6), one: float = 1, scaled: Any = (1, 2, 3)
) -> Image:
    parts = ((0, x), (0x10, y), (0x20, trim), (0x38, [one]), (0x40, scaled))
    start = Image.of([(0, bytes(0x50) + bytes.fromhex("0001 0002 0010 0001 0002 0003"))])
    return start.patched([(at, np.array(list(v), "<f4").tobytes()) for at, v in parts])


@st.composite
def images(draw: st.DrawFn) -> Image:
    """Sound breakpoints or any, and cells of any bits."""
    start = image(x=draw(st.sampled_from([(1000, 2000, 3000), (1000, 1500, 3000)])))
    places = [*range(0x20, 0x4C, 4), 0x50, 0x52, 0x58, *(draw(st.sampled_from([(), (0, 4, 0x10)])))]
    return start.patched([(at, draw(cells)) for at in places if draw(st.booleans())])


def exported(found: Comparison) -> list[dict[str, str]]:
    """The lines of the table; the JSON file is parsed by the letter of RFC 8259, which knows no NaN."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    whole = json.loads(comparison_json(found), parse_constant=refuse)
    assert all(same_delta(a, b) for a, b in zip(comparison_from_json(whole).deltas, found.deltas, strict=True))
    return list(csv.DictReader(io.StringIO(comparison_csv(found))))


@given(images(), images(), images())
@settings(max_examples=200, deadline=None)
def test_any_bits_are_compared_warned_about_exported_and_undone(a: Image, b: Image, c: Image) -> None:
    found = with_warnings(compare(a, b, FLOATS), EVERY_RULE)
    assert not any("nan" in sentence or "inf" in sentence.split() for sentence in found.warnings)
    lines = exported(found)
    for delta in found.deltas:
        assert same_delta(unpack_map_delta(pack_map_delta(delta)), delta)
        if delta.summary.compared == "cell by cell":
            listed = [line for line in lines if line["what"] == "cell" and line["name"] == delta.name]
            assert len(listed) == delta.summary.changed
    assert apply(a, found) == b
    assert apply(b, invert(found)) == a
    assert apply(a, compose(compare(a, b, FLOATS), compare(b, c, FLOATS), a)) == c


@given(images(), images(), images(), st.sampled_from(MODES))
@settings(max_examples=200, deadline=None)
def test_any_bits_are_ported_without_touching_what_did_not_change(
    a: Image, b: Image, target: Image, mode: Mode
) -> None:
    found = compare(a, b, FLOATS)
    result = port(found.deltas, target, FLOATS, mode)
    json.dumps(result.report.to_json(), allow_nan=False)
    changed = {cell for delta in found.deltas for cell in cells_of(target, delta.name)}
    assert set(compare(target, result.image, None).changes.addresses.tolist()) <= changed
    same = [delta for delta in found.deltas if not delta.axis_changed]
    again = decode(port(same, a, FLOATS, mode).image, FLOATS)
    for delta in same:
        assert np.array_equal(again[delta.name].raw, delta.state_after.raw, equal_nan=True)


def cells_of(held: Image, name: str) -> list[int]:
    """Addresses of every byte of a map and of its axes."""
    table = decode(held, FLOATS)[name]
    starts = [table.addresses, *(axis.addresses for axis in table.axes if axis.addresses is not None)]
    return [int(start) + k for part in starts for start in part.ravel() for k in range(table.itemsize)]


def test_cells_that_stayed_what_is_no_number_are_not_listed_as_changed() -> None:
    a = image(trim=(np.nan, np.inf, 3, 4, 5, 6))
    lines = exported(compare(a, image(trim=(np.nan, np.inf, 3.5, np.nan, 5, -np.inf)), FLOATS))
    assert [(line["x"], line["y"], line["before"], line["after"], line["note"]) for line in lines] == [
        ("3000.0", "20.0", "3.0", "3.5", ""),
        ("1000.0", "80.0", "4.0", "", "after is not a number"),
        ("3000.0", "80.0", "6.0", "", "after is minus infinite"),
    ]


def test_a_breakpoint_that_became_infinite_is_listed() -> None:
    lines = exported(compare(image(), image(x=(1000, 2000, np.inf)), FLOATS))
    assert lines[0]["what"] == "breakpoint"
    assert (lines[0]["before"], lines[0]["note"]) == ("3000.0", "breakpoint 3 of engine speed; after is infinite")


def test_figures_are_over_the_cells_that_have_one() -> None:
    """Six cells: one from 3 to 5, one from 4 to infinity; the mean over the five that have a difference is 0.4."""
    (delta,) = compare(image(trim=(1, 2, 3, 4, 5, 6)), image(trim=(1, 2, 5, np.inf, 5, 6)), FLOATS).deltas
    assert (delta.summary.changed, delta.summary.maximum, delta.summary.mean_of_changed) == (2, 2.0, 2.0)
    assert delta.summary.mean == pytest.approx(0.4)


def test_a_cell_that_stays_keeps_its_bits_when_others_are_written() -> None:
    """0x7FA00001 is a signalling NaN: read as a number and written again it would come back as 0x7FE00001."""
    signalling = (0x24, bytes.fromhex("0100a07f"))
    a, b = image().patched([signalling]), image(trim=(9, 1, 2, 3, 4, 5)).patched([signalling])
    assert port(compare(a, b, FLOATS).deltas, a, FLOATS).image == b


def test_a_base_that_holds_no_number_where_the_change_started_from_one_is_told() -> None:
    change = compare(image(), image(trim=(7, 1, 2, 3, 4, 5)), FLOATS).deltas
    (report,) = port(change, image(trim=(np.nan, np.inf, 2, 3, 4, 5)), FLOATS).report.maps
    assert (report.base_differs, report.largest_base_difference) == (2, None)
