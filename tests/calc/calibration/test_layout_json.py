"""Layouts as canonical JSON."""

import json
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.layout_check import check_layout
from app.calc.calibration.layout_json import layout_from_json, layout_to_json
from app.calc.calibration.scaling import Scaling
from app.errors import BadInput
from tests.calc.calibration.layouts import layouts

many = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))


@many
@given(layouts())
def test_layout_comes_back_equal_and_its_bytes_do_too(layout: Layout) -> None:
    check_layout(layout)
    data = layout_to_json(layout)
    again = layout_from_json(data)
    assert again == layout
    assert layout_to_json(again) == data


def test_equal_layouts_give_equal_bytes_however_they_were_put_together() -> None:
    one, two = Scaling.linear(1, 0, unit="%"), Scaling.linear(1.0, -0.0, unit="%")
    a = Layout("l", maps=tuple(MapDefinition(n, "value", k, scaling=one) for k, n in enumerate("ab")))
    b = Layout("l", maps=(MapDefinition("a", "value", 0, scaling=one), MapDefinition("b", "value", 1, scaling=two)))
    assert a == b
    assert layout_to_json(a) == layout_to_json(b)
    plain = Layout("l", maps=(MapDefinition("a", "value", 0, scaling=Scaling()),))
    assert layout_to_json(plain) == layout_to_json(Layout("l", maps=(MapDefinition("a", "value", 0),)))


SOUND = json.loads(
    layout_to_json(
        Layout(
            "l",
            maps=(MapDefinition("m", "curve", 0, axes=(AxisDefinition.fixed("x", (1.0, 2.0)),), size=()),),
            axes=(AxisDefinition("s", count=2, scaling=Scaling.linear(2, 1)),),
        )
    )
)

CURVE = {"name": "m", "kind": "curve", "address": 1}
EMPTY_RECORD = {
    "records": [{"name": "r", "parts": [], "static": "packed"}],
    "maps": [{"name": "m", "kind": "value", "address": 1, "record": 0}],
}


@pytest.mark.parametrize(
    "data",
    [
        b"", b"[]", b"null", b"{}", b"\xff", b'{"form":2}', b"[" * 100_000, b"1" * 10_000,
        *(json.dumps(SOUND | change).encode() for change in (
            {"form": 2}, {"name": 5}, {"name": ""}, {"maps": 5}, {"maps": [5]}, {"more": 1}, {"maps": [{"name": "m"}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1.5}]},
            {"maps": [{"name": "m", "kind": "value", "address": True}]},
            {"maps": [{"name": "m", "kind": "value", "address": -1}]},
            {"maps": [{"name": "m", "kind": "value", "address": 2**60}]},
            {"maps": [{"name": "m", "kind": "cube", "address": 1}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1, "colour": "red"}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1, "data_type": "byte"}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1, "scaling": 9}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1, "scaling": -1}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1}] * 2},
            {"maps": [CURVE]},
            {"maps": [CURVE | {"axes": [{"place": "shared", "shared": "?", "count": 2}]}]},
            {"maps": [CURVE | {"axes": [{"place": "in record", "count": 2}]}]},
            {"maps": [{"name": "m", "kind": "text", "address": 1, "size": [3], "data_type": "float32"}]},
            {"maps": [{"name": "m", "kind": "value", "address": 1, "bit_mask": 256}]},
            {"volatile": [[5, 5, "empty"]]}, {"volatile": [[5, 6]]}, {"scalings": [{"kind": "linear"}]},
            EMPTY_RECORD, {"address_base": 1.0},
        )),
        json.dumps(SOUND).replace("2.0", "NaN").encode(), json.dumps(SOUND).replace("2.0", "1e999").encode(),
    ],
)  # fmt: skip
def test_anything_else_is_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        layout_from_json(data)


@many
@given(
    layouts(),
    st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 5), st.binary(max_size=3)), min_size=1, max_size=3),
)
def test_mutated_bytes_are_read_or_refused(layout: Layout, edits: list[tuple[int, int, bytes]]) -> None:
    data = layout_to_json(layout)
    for at, length, new in edits:
        at %= len(data)
        data = data[:at] + new + data[at + length :]
    try:
        again = layout_from_json(data)
    except BadInput:
        return
    assert layout_from_json(layout_to_json(again)) == again


def test_thirty_thousand_maps_take_about_a_second_each_way() -> None:
    # The figure asked for is one second of processor time on a quiet machine; three leave room for a busy one.
    scalings = [Scaling.linear(k + 1, 0) for k in range(100)]
    maps = tuple(
        MapDefinition(
            f"map {k}", "map", 64 * k, scaling=scalings[k % 100], data_type="uint16", description="a generated map",
            axes=(AxisDefinition("x", count=8, address=64 * k, scaling=scalings[3]), AxisDefinition("y", count=4)),
        )
        for k in range(30_000)
    )  # fmt: skip
    layout = Layout("large", maps=maps)
    started = time.process_time()
    data = layout_to_json(layout)
    written = time.process_time() - started
    again = layout_from_json(data)
    read = time.process_time() - started - written
    assert again == layout
    assert written < 6
    assert read < 6
