"""The shop can rely on it that a map's change comes back from the record as it was computed."""

import zlib

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.delta import compare
from app.calc.calibration.delta_pack import pack_map_delta, scaling_from_plain, scaling_to_plain, unpack_map_delta
from app.calc.calibration.map_delta import MapDelta
from app.calc.calibration.scaling import Scaling
from app.errors import Damaged
from tests.calc.calibration.layouts import layouts, scalings
from tests.calc.calibration.pairs import ENGINE, edited, engine, made_up, same_delta


def unchanged(delta: MapDelta) -> None:
    assert same_delta(unpack_map_delta(pack_map_delta(delta)), delta)


@given(st.data())
@settings(max_examples=200, deadline=None, suppress_health_check=(HealthCheck.too_slow, HealthCheck.data_too_large))
def test_any_change_comes_back(data: st.DataObject) -> None:
    layout, before = data.draw(layouts()), data.draw(made_up())
    for delta in compare(before, data.draw(edited(before, layout)), layout).deltas:
        unchanged(delta)


def test_the_example_takes_few_bytes() -> None:
    change = compare(engine(), engine(torque=(2100, 3100, 3600, 3100), speed=(1000, 1500, 3000, 4000)), ENGINE)
    for delta in change.deltas:
        unchanged(delta)
        assert len(pack_map_delta(delta)) < 400


@given(scalings)
def test_every_conversion_comes_back(scaling: Scaling) -> None:
    assert scaling_from_plain(scaling_to_plain(scaling)) == scaling


@pytest.mark.parametrize("spoil", ["empty", "form", "cut", "longer", "header", "bits"])
def test_damaged_bytes_are_refused(spoil: str) -> None:
    (delta,) = compare(engine(), engine(torque=(2100, 3100, 3600, 3100)), ENGINE).deltas
    packed = pack_map_delta(delta)
    rng = np.random.default_rng(1)
    broken = {
        "empty": [b""],
        "form": [b"\x02" + packed[1:]],
        "cut": [packed[:k] for k in range(1, len(packed))],
        "longer": [packed + b"x"],
        "header": [b"\x01" + zlib.compress(b"\0\0\0\x02{}" + bytes(5))],
        "bits": [
            packed[:k] + bytes((packed[k] ^ 1 << int(rng.integers(8)),)) + packed[k + 1 :]
            for k in range(1, len(packed))
        ],
    }[spoil]
    for data in broken:
        try:
            back = unpack_map_delta(data)
        except Damaged:
            continue
        assert spoil == "bits" and back.summary == delta.summary, "only bits that deflate ignores may be wrong"
