"""The shop can rely on it that a port says which other maps are read at the breakpoints it writes."""

import json

from app.calc.calibration.delta import compare
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.port import port
from app.calc.calibration.port_axes import SharedAxis
from tests.calc.calibration.pairs import DEGREES, ENGINE, LOAD_AXIS, RPM, SPARK, SPEED_AXIS, TORQUE, engine

MOVED = (1000, 1500, 3000, 4000)
TWO_MAPS = {"spark advance", "torque limit"}


def test_a_map_left_out_whose_axis_moves_is_named() -> None:
    deltas = compare(engine(), engine(speed=MOVED), ENGINE).deltas
    assert {delta.name for delta in deltas} == TWO_MAPS
    chosen = [delta for delta in deltas if delta.name == "torque limit"]
    report = port(chosen, engine(), ENGINE).report
    assert report.shared_axes == (SharedAxis("engine speed", ("torque limit",), ("spark advance",)),)
    assert "1 further map is read at breakpoints that were written" in report.sentence
    plain = json.loads(json.dumps(report.to_json(), allow_nan=False))
    assert plain == report.to_json()
    assert plain["shared_axes"] == [
        {"axis": "engine speed", "written_for": ["torque limit"], "also_read_by": ["spark advance"]}
    ]


def test_nothing_is_named_when_every_map_of_the_axis_goes_along() -> None:
    report = port(compare(engine(), engine(speed=MOVED), ENGINE).deltas, engine(), ENGINE).report
    assert [one.axes_written for one in report.maps] == [("engine speed",), ("engine speed",)]
    assert report.shared_axes == ()


def test_nothing_is_named_when_no_breakpoint_is_written() -> None:
    deltas = compare(engine(), engine(torque=(2100, 3000, 3500, 3000)), ENGINE).deltas
    assert port(deltas, engine(), ENGINE).report.shared_axes == ()


def test_a_map_that_only_the_target_has_is_named_however_its_axis_is_described() -> None:
    """By its own address, or as a table of the layout that several maps share."""
    table = AxisDefinition("speed table", count=4, address=0x8100, data_type="uint16", scaling=RPM)
    shared = AxisDefinition("engine speed", "shared", 4, RPM, shared="speed table")
    knock = MapDefinition("knock threshold", "curve", 0x8170, data_type="uint8", scaling=DEGREES, axes=(shared,))
    pedal = MapDefinition("pedal", "curve", 0x8174, axes=(LOAD_AXIS,))
    target = Layout("target", maps=(SPARK, TORQUE, knock, pedal), axes=(table,))
    deltas = compare(engine(), engine(speed=MOVED), ENGINE).deltas
    report = port(deltas, engine(), target).report
    assert report.shared_axes == (SharedAxis("engine speed", ("spark advance", "torque limit"), ("knock threshold",)),)


def test_a_map_of_the_set_that_was_read_at_the_old_breakpoints_is_named() -> None:
    """In the target the spark advance lies over other loads, so that its values go over without its breakpoints."""
    deltas = compare(engine(), engine(speed=MOVED), ENGINE).deltas
    report = port(deltas, engine(load=(20, 50, 100)), ENGINE).report
    assert [one.axes_written for one in report.maps] == [(), ("engine speed",)]
    assert report.shared_axes == (SharedAxis("engine speed", ("torque limit",), ("spark advance",)),)


def test_an_axis_of_a_refused_map_is_not_written() -> None:
    """Breakpoints that the target cannot store: the whole map is left alone."""
    narrow = AxisDefinition("engine speed", count=4, address=0x8100, data_type="uint16", scaling=RPM)
    assert narrow == SPEED_AXIS
    deltas = compare(engine(), engine(speed=MOVED, torque=(1, 2, 3, 4)), ENGINE).deltas
    other_unit = MapDefinition("torque limit", "curve", 0x8140, data_type="uint16", axes=(SPEED_AXIS,))
    report = port(deltas[1:], engine(), Layout("other", maps=(SPARK, other_unit))).report
    assert (report.maps[0].outcome, report.shared_axes) == ("refused", ())
