"""The shop can rely on it that a change taken over to another base is what was asked for, and says where it is not.

Expected numbers are worked out by hand beside them.
"""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.byte_changes import EXPLAINED
from app.calc.calibration.byte_ranges import union
from app.calc.calibration.checksum import recompute
from app.calc.calibration.decode import decode, footprints
from app.calc.calibration.delta import compare
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.manual_delta import manual_delta
from app.calc.calibration.map_delta import DeltaAxis, MapDelta
from app.calc.calibration.port import MODES, Mode, port
from app.calc.calibration.scaling import Scaling
from app.errors import BadInput
from tests.calc.calibration.layouts import layouts
from tests.calc.calibration.pairs import DEGREES, ENGINE, LOAD, RPM, SUM, edited, engine, made_up

RISEN = {"spark": ((10, 20, 30, 40), (12, 24, 34, 42), (14, 24, 34, 44)), "torque": (2000, 3300, 3500, 3000)}


def sealed(**changes: Any) -> Image:
    return recompute(engine(**changes), SUM)


def deltas(**changes: Any) -> tuple[MapDelta, ...]:
    return compare(sealed(), sealed(**changes), ENGINE).deltas


@st.composite
def revisions(draw: st.DrawFn) -> Image:
    spark = [[draw(st.integers(-128, 127)) for _ in range(4)] for _ in range(3)]
    return sealed(
        speed=draw(st.sampled_from([(1000, 2000, 3000, 4000), (1000, 1500, 3000, 5000)])),
        load=draw(st.sampled_from([(20, 60, 100), (20, 50, 100)])),
        spark=tuple(map(tuple, spark)) if draw(st.booleans()) else RISEN["spark"],
        torque=tuple(draw(st.integers(0, 65535)) for _ in range(4)),
        limit=draw(st.integers(0, 255)),
        launch=draw(st.integers(0, 1)),
        label=draw(st.sampled_from([b"STOCK", b"TUNED"])),
    )


@given(revisions(), revisions(), st.sampled_from(MODES))
@settings(max_examples=200, deadline=None)
def test_on_the_same_base_the_result_is_the_source_revision_byte_for_byte(a: Image, b: Image, mode: Mode) -> None:
    result = port(compare(a, b, ENGINE).deltas, a, ENGINE, mode)
    assert result.image == b
    assert all(one.outcome == "ported" and not one.saturated for one in result.report.maps)
    assert all(one.base_differs == 0 and one.largest_rounding in (None, 0.0) for one in result.report.maps)


@given(st.data(), st.sampled_from(MODES))
@settings(max_examples=300, deadline=None, suppress_health_check=(HealthCheck.too_slow, HealthCheck.data_too_large))
def test_on_the_same_base_any_conversion_gives_the_stored_numbers(data: st.DataObject, mode: Mode) -> None:
    layout, a = data.draw(layouts()), data.draw(made_up())
    layout = replace(layout, checksums=())
    b = data.draw(edited(a, layout))
    found = compare(a, b, layout)
    moved = [delta.name for delta in found.deltas if delta.axis_changed]
    result = port([delta for delta in found.deltas if delta.name not in moved], a, layout, mode)
    assert {one.outcome for one in result.report.maps} <= {"ported"}
    kept = decode(result.image, layout)
    for delta in found.deltas:
        if delta.name not in moved:
            assert np.array_equal(
                kept[delta.name].raw, delta.state_after.raw, equal_nan=kept[delta.name].raw.dtype == float
            )
    explained = set(found.changes.addresses[found.changes.kind == EXPLAINED].tolist())
    touched = compare(a, result.image, None).changes
    assert set(touched.addresses.tolist()) <= explained


@given(st.data(), st.sampled_from(MODES))
@settings(max_examples=300, deadline=None, suppress_health_check=(HealthCheck.too_slow, HealthCheck.data_too_large))
def test_any_change_is_taken_to_any_base_or_refused_with_a_reason(data: st.DataObject, mode: Mode) -> None:
    """Other bytes, and by chance other counts and breakpoints; what is written lies in the maps that were ported."""
    layout, a, target = data.draw(layouts()), data.draw(made_up()), data.draw(made_up())
    result = port(compare(a, data.draw(edited(a, layout)), layout).deltas, target, layout, mode)
    json.dumps(result.report.to_json(), allow_nan=False)
    assert all(one.reason for one in result.report.maps if one.outcome != "ported")
    ported = [one.name for one in result.report.maps if one.outcome == "ported"]
    prints = footprints(target, replace(layout, maps=tuple(m for m in layout.maps if m.name in ported), checksums=()))
    allowed = set(union(prints.start, prints.end).addresses().tolist())
    for one in layout.checksums_in_image:
        allowed |= set(range(*one.stored_range))
    assert set(compare(target, result.image, None).changes.addresses.tolist()) <= allowed


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize(("before", "after"), [(np.nan, np.inf), (np.nan, 1.5), (np.inf, np.nan), (-np.inf, 2.0)])
def test_float_cells_without_a_finite_number_are_carried_too(before: float, after: float, mode: Mode) -> None:
    layout = Layout("floats", maps=(MapDefinition("trim", "value", 0, data_type="float32", byte_order="little"),))
    a, b = (Image.of([(0, np.array([value, 1.0], "<f4").tobytes())]) for value in (before, after))
    result = port(compare(a, b, layout).deltas, a, layout, mode)
    assert result.image == b


OTHER_SPEED = AxisDefinition(
    "engine speed", count=3, address=0x100, data_type="uint16", byte_order="little", scaling=RPM
)
OTHER_LOAD = AxisDefinition("load", count=2, address=0x110, scaling=LOAD)


def other(spark: tuple[tuple[int, ...], ...], *, step: float = 0.5, unit: str = "deg", kind: str = "int8") -> Any:
    """Another software: other addresses, byte order, breakpoints and a spark advance in steps of `step`."""
    definition = MapDefinition(
        "spark advance",
        "map",
        0x120,
        "ignition",
        data_type=kind,  # type: ignore[arg-type]
        scaling=Scaling.linear(step, unit=unit),
        axes=(OTHER_SPEED, OTHER_LOAD),
    )
    image = Image.of([(0, bytes(0x200))]).patched(
        [
            (0x100, np.array((1500, 2000, 3500), "<u2").tobytes()),
            (0x110, bytes((60, 80))),
            (0x120, np.array(spark, "i1").tobytes()),
        ]
    )
    return image, Layout("other", maps=(definition,))


FLAT = ((40, 40, 40), (40, 40, 40))


def test_a_difference_is_added_where_the_targets_breakpoints_lie() -> None:
    """The source adds 1.5 deg at 2000 and 3000 1/min for 30 %, nothing for 50 %; the target reads at 30 and 40 %."""
    image, layout = other(FLAT)
    result = port(deltas(spark=RISEN["spark"]), image, layout, "relative")
    (report,) = result.report.maps
    # Wanted: 20.75 21.5 20.75 | 20.375 20.75 20.375 deg, stored in steps of 0.5.
    stored = decode(result.image, layout)["spark advance"].physical
    assert stored.tolist() == [[21.0, 21.5, 21.0], [20.5, 21.0, 20.5]]
    assert (report.written, report.cells, report.saturated, report.outside) == (6, 6, 0, 0)
    assert report.largest_rounding == pytest.approx(0.25)
    assert report.mean_rounding == pytest.approx((3 * 0.25 + 2 * 0.125) / 6)
    before, speeds = np.array([[9, 16.5, 24, 31.5], [10.5, 18, 25.5, 33]]), (1500, 2000, 3500)
    start = [np.interp(speeds, (1000, 2000, 3000, 4000), row) for row in before]
    differences = np.abs(20 - np.array([start[0], (start[0] + start[1]) / 2]))
    assert report.base_differs == int((differences > 0.25).sum())
    assert report.largest_base_difference == pytest.approx(differences.max())
    assert result.report.computed_not_validated


def test_absolute_sets_and_percent_scales() -> None:
    image, layout = other(FLAT)
    change = deltas(spark=((10, 20, 30, 40), (24, 44, 64, 84), (28, 48, 68, 88)))
    doubled = decode(port(change, image, layout, "percent").image, layout)["spark advance"].physical
    assert doubled == pytest.approx(np.full((2, 3), 40.0), abs=0.25)
    fixed = decode(port(change, image, layout, "absolute").image, layout)["spark advance"].physical
    # At 30 %: 18, 33, 48, 63 deg over speed; at 50 %: 21, 36, 51, 66.
    assert fixed.tolist() == [[25.5, 33.0, 55.5], [27.0, 34.5, 57.0]]


def test_what_cannot_be_stored_is_held_at_the_limit_and_counted() -> None:
    image, layout = other(((126, 126, 126), (126, 126, 126)))
    result = port(deltas(spark=RISEN["spark"]), image, layout, "relative")
    (report,) = result.report.maps
    # 63.75 and 64.5 deg are beyond 63.5; the two cells that want 63.375 fit.
    assert (report.saturated, report.written, report.largest_rounding) == (4, 6, 0.125)
    assert decode(result.image, layout)["spark advance"].raw.max() == 127
    assert "4 cells at the limit" in result.report.sentence


def test_beyond_the_sources_breakpoints_its_end_value_is_used_and_counted() -> None:
    image, layout = other(FLAT)
    image = image.patched([(0x100, np.array((500, 2000, 9000), "<u2").tobytes())])
    result = port(deltas(spark=((14, 20, 30, 40), (16, 22, 32, 42), (18, 24, 34, 44))), image, layout)
    (report,) = result.report.maps
    assert report.outside == 4
    assert decode(result.image, layout)["spark advance"].physical[0].tolist() == [23.0, 20.0, 20.0]


def test_units_of_one_quantity_are_converted_and_others_refused() -> None:
    """+30 N·m at 2000 1/min is 22.127 lbf·ft (1 lbf·ft = 1.3558179483 N·m, NIST SP 811 appendix B.8)."""
    axis = AxisDefinition("engine speed", count=2, address=0x100, data_type="uint16", byte_order="little", scaling=RPM)
    image = Image.of([(0, bytes(0x200))]).patched([(0x100, np.array((2000, 3000), "<u2").tobytes())])

    def target(unit: str) -> Layout:
        scaling = Scaling.linear(0.001, unit=unit)
        definition = MapDefinition("torque limit", "curve", 0x120, "limiter", scaling=scaling, axes=(axis,))
        return Layout("t", maps=(replace(definition, data_type="uint32"),))

    change = deltas(torque=(2000, 3300, 3500, 3000))
    result = port(change, image, target("lbf·ft"))
    (report,) = result.report.maps
    assert report.converted_from == "N·m"
    assert decode(result.image, target("lbf·ft"))["torque limit"].physical == pytest.approx([22.127, 0], abs=6e-4)
    refused = port(change, image, target("hPa")).report.maps[0]
    assert (refused.outcome, refused.written) == ("refused", 0)
    assert "in N·m in the change and in hPa in the target" in refused.reason
    assert port(change, image, target("hPa")).image == image


def test_moved_breakpoints_go_along_only_to_the_same_breakpoints() -> None:
    change = deltas(speed=(1000, 1500, 3000, 4000))
    same = port(change, sealed(limit=99), ENGINE)
    assert same.image == sealed(limit=99, speed=(1000, 1500, 3000, 4000))
    assert [one.axes_written for one in same.report.maps] == [("engine speed",), ("engine speed",)]
    elsewhere = port(change, sealed(speed=(900, 2000, 3000, 4000)), ENGINE)
    assert [one.axes_written for one in elsewhere.report.maps] == [(), ()]
    assert decode(elsewhere.image, ENGINE)["torque limit"].axes[0].values.tolist() == [900, 2000, 3000, 4000]


def test_only_cells_that_the_source_changed_are_touched() -> None:
    base = sealed(spark=((0, 1, 2, 3), (4, 5, 6, 7), (8, 9, 10, 11)))
    result = port(deltas(spark=RISEN["spark"]), base, ENGINE, "relative")
    assert decode(result.image, ENGINE)["spark advance"].raw.tolist() == [[0, 1, 2, 3], [4, 7, 8, 7], [8, 9, 10, 11]]
    (report,) = result.report.maps
    assert (report.written, report.base_differs) == (2, 12)


def test_missing_maps_and_other_shapes_are_named() -> None:
    image, layout = other(FLAT)
    report = port(deltas(limit=200, torque=(1, 2, 3, 4)), image, layout).report
    assert [(one.name, one.outcome) for one in report.maps] == [("torque limit", "missing"), ("speed limit", "missing")]
    curve = Layout("c", maps=(MapDefinition("spark advance", "value", 0x120, scaling=DEGREES),))
    refused = port(deltas(spark=RISEN["spark"]), image, curve).report.maps[0]
    assert (refused.outcome, "has 0 axes" in refused.reason) == ("refused", True)
    short = Image.of([(0x8000, bytes(0x110))])
    lost = port(deltas(limit=200), short, ENGINE).report.maps[0]
    assert (lost.outcome, "does not hold" in lost.reason) == ("missing", True)


def test_texts_are_ported_only_to_the_same_text() -> None:
    change = deltas(label=b"TUNED")
    assert port(change, sealed(limit=9), ENGINE).image == sealed(limit=9, label=b"TUNED")
    refused = port(change, sealed(label=b"OTHER"), ENGINE).report.maps[0]
    assert (refused.outcome, "'OTHER'" in refused.reason) == ("refused", True)


def test_a_switch_is_set_whatever_the_mode() -> None:
    for mode in MODES:
        result = port(deltas(launch=1), sealed(limit=9), ENGINE, mode)
        assert result.image == sealed(limit=9, launch=1)


@pytest.mark.parametrize(
    ("entered", "expected"),
    [
        (manual_delta("spark advance", change=3.0, unit="deg"), [46] * 6),
        (manual_delta("spark advance", change=5.0, unit="%"), [42] * 6),
        (
            manual_delta(
                "spark advance",
                change=[[0, 2, 2]] * 2,
                unit="deg",
                axes=(
                    DeltaAxis("n", "1/min", np.array([1500.0, 2000, 3500])),
                    DeltaAxis("l", "%", np.array([30.0, 40])),
                ),
            ),
            [40, 44, 44] * 2,
        ),
    ],
)
def test_a_change_noted_by_hand_is_added(entered: MapDelta, expected: list[int]) -> None:
    image, layout = other(FLAT)
    result = port([entered], image, layout)
    assert decode(result.image, layout)["spark advance"].raw.ravel().tolist() == expected
    refused = port([entered], image, layout, "absolute").report.maps[0]
    assert (refused.outcome, refused.written) == ("refused", 0)


def test_a_change_noted_in_another_unit_or_shape_is_refused() -> None:
    image, layout = other(FLAT)
    for entered in (
        manual_delta("spark advance", change=3.0, unit="N·m"),
        manual_delta("spark advance", change=[1.0, 2]),
    ):
        assert port([entered], image, layout).report.maps[0].outcome == "refused"


def test_values_noted_by_hand_leave_the_cells_alone_that_nobody_named() -> None:
    torque = manual_delta(
        "torque limit",
        before=[200, np.nan, 350, 300],
        after=[210, np.nan, 350, 300],
        unit="N·m",
        axes=(DeltaAxis("engine speed", "1/min", np.array([1000.0, 2000, 3000, 4000])),),
    )
    result = port([torque], sealed(), ENGINE)
    assert result.image == sealed(torque=(2100, 3000, 3500, 3000))
    assert result.report.maps[0].unknown == 1


def test_checksums_that_held_hold_again_and_others_are_left() -> None:
    result = port(deltas(limit=200), sealed(torque=(9, 9, 9, 9)), ENGINE)
    assert (result.report.checksums_recomputed, result.report.checksums_left) == (("block sum",), ())
    assert result.image == sealed(torque=(9, 9, 9, 9), limit=200)
    unknown = port(deltas(limit=200), engine(), ENGINE)
    assert (unknown.report.checksums_recomputed, unknown.report.checksums_left) == ((), ("block sum",))
    assert unknown.image == engine(limit=200)


def test_the_report_says_that_nothing_was_validated() -> None:
    report = port(deltas(limit=200), sealed(), ENGINE).report
    assert report.sentence == "1 of 1 map ported, 1 block checksum recomputed; computed, not validated on a vehicle."
    plain = report.to_json()
    assert plain["computed_not_validated"] is True
    assert plain["maps"][0]["axes_written"] == []


def test_an_unknown_mode_is_refused() -> None:
    with pytest.raises(BadInput, match="'blend' is no way to port"):
        port((), sealed(), ENGINE, "blend")  # type: ignore[arg-type]
