"""The shop can rely on it that a comparison written for a program is the comparison."""

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.delta import compare
from app.calc.calibration.delta_json import comparison_from_json, comparison_to_json, delta_from_json, delta_to_json
from app.errors import BadInput
from tests.calc.calibration.layouts import layouts
from tests.calc.calibration.pairs import ENGINE, edited, engine, made_up, resized, same_delta


@given(st.data())
@settings(max_examples=200, deadline=None, suppress_health_check=(HealthCheck.too_slow, HealthCheck.data_too_large))
def test_a_comparison_comes_back_from_json(data: st.DataObject) -> None:
    layout, before = data.draw(layouts()), data.draw(made_up())
    after = data.draw(edited(before, layout))
    if data.draw(st.booleans()):
        after = data.draw(resized(after))
    written = compare(before, after, layout)
    back = comparison_from_json(json.loads(json.dumps(comparison_to_json(written), allow_nan=False)))
    assert back.changes.same_as(written.changes)
    assert (back.unexplained, back.checksums, back.checksums_before) == (
        written.unexplained,
        written.checksums,
        written.checksums_before,
    )
    assert (back.sentence, back.unreadable) == (written.sentence, written.unreadable)
    assert len(back.deltas) == len(written.deltas)
    assert all(same_delta(a, b) for a, b in zip(back.deltas, written.deltas, strict=True))


def test_the_numbers_lie_as_people_read_them() -> None:
    """One y after the other, x within: spark advance in 0.75 deg steps."""
    plain = comparison_to_json(compare(engine(), engine(torque=(2100, 3000, 3500, 3000)), ENGINE))
    (delta,) = plain["deltas"]
    assert (delta["before"], delta["after"]) == ([200.0, 300.0, 350.0, 300.0], [210.0, 300.0, 350.0, 300.0])
    assert delta["axes_after"][0] == {
        "name": "engine speed",
        "unit": "1/min",
        "values": [1000.0, 2000.0, 3000.0, 4000.0],
        "decimals": 0,
    }
    assert delta["summary"]["largest"]["at"][0]["value"] == 1000.0
    assert delta["grid"] is None
    assert delta["stored"]["after"] == {"kind": "i", "numbers": [2100, 3000, 3500, 3000]}
    assert plain["changes"] == [{"address": 0x8140, "before": "07d0", "after": "0834", "kind": "explained"}]


def test_a_moved_breakpoint_comes_with_the_common_grid() -> None:
    (_, torque) = compare(engine(), engine(speed=(1000, 1500, 3000, 4000)), ENGINE).deltas
    plain = delta_to_json(torque)
    assert plain["grid"]["axes"][0]["values"] == [1000.0, 1500.0, 2000.0, 3000.0, 4000.0]
    assert plain["grid"]["covered"] == [True] * 5
    assert same_delta(delta_from_json(plain), torque)


@pytest.mark.parametrize("plain", [{}, {"deltas": 3}, {"deltas": [{}]}, [], None])
def test_anything_else_is_refused(plain: Any) -> None:
    with pytest.raises(BadInput, match="not a comparison"):
        comparison_from_json(plain)
    with pytest.raises(BadInput, match="not a map's change"):
        delta_from_json(plain)
