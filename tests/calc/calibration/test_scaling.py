"""Conversions, against the examples of the A2L reference and as their own inverses."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.datatype import DATA_TYPES, DataType, storage
from app.calc.calibration.scaling import Scaling, TextRange, check_scaling
from app.errors import BadInput
from tests.calc.calibration.layouts import finite, linear, rational

# COEFFS 0 4 0 0 0 1: "INT = f(PHYS)", the direction in the comments of four open readers and in the description
# inside the ASAM demonstration file ("set for impl = f(phys) = phys * 10" with COEFFS 0 10 0 0 0 1).
TIMES_4 = Scaling(kind="rational", coefficients=(0, 4, 0, 0, 0, 1))
TABLE = Scaling(kind="interpolated table", points=((0, 150), (100, 50), (250, -40)))
EXACT = Scaling(kind="exact table", points=((1, 11.5), (7, 70.25)), default_value=99)


@pytest.mark.parametrize(
    ("scaling", "raw", "physical"),
    [
        (Scaling(), 200, 200),
        (Scaling.linear(0.1, -40), -125, -52.5),
        (TIMES_4, 3000, 750),
        (Scaling(kind="rational", coefficients=(0, 10, 400, 0, 0, 1)), 650, 25),
        (Scaling(kind="rational", coefficients=(0, 0, 1000, 0, 1, 0)), 8, 125),
        (Scaling(kind="rational", coefficients=(1, 0, 0, 0, 0, 1)), 49, 7),
        (TABLE, 150, 20),
        (EXACT, 7, 70.25),
        (Scaling(kind="formula", formula="X1*0.5+3", inverse_formula="(X1-3)*2"), 101, 53.5),
    ],
)
def test_reference_value_converts_both_ways(scaling: Scaling, raw: float, physical: float) -> None:
    check_scaling(scaling)
    assert scaling.to_physical([raw])[0] == pytest.approx(physical, abs=1e-9)
    back = scaling.to_raw([physical], "int32")
    assert (back.values[0], back.saturated[0]) == (raw, False)


def test_value_outside_a_table_is_held_at_its_ends() -> None:
    assert TABLE.to_physical([-5, 300]).tolist() == [150, -40]
    assert EXACT.to_physical([2, 9]).tolist() == [99, 99]
    back = TABLE.to_raw([151, -41, 50], "uint8")
    assert (back.values.tolist(), back.saturated.tolist()) == ([0, 250, 100], [True, True, False])
    assert EXACT.to_raw([60.0], "uint8").saturated.tolist() == [True]


def test_division_by_zero_has_no_physical_value() -> None:
    reciprocal = Scaling(kind="rational", coefficients=(0, 0, 1000, 0, 1, 0))
    assert np.isnan(reciprocal.to_physical([0])).all()
    assert reciprocal.to_raw([0.0, math.nan], "uint16").saturated.tolist() == [True, True]


def test_texts_are_found_by_value_and_range() -> None:
    # Integers min <= x <= max, floats min <= x < max (from memory of the standard's text).
    scaling = Scaling(kind="text table", texts=(TextRange(0, 9, "low"), TextRange(10, 255, "high")), default_text="?")
    assert scaling.labels([0, 9, 10, 256]) == ["low", "low", "high", "?"]
    assert scaling.labels([8.5, 9.0, 9.5, 255.0]) == ["low", "?", "?", "?"]


@pytest.mark.parametrize("data_type", DATA_TYPES)
def test_wanted_value_beyond_a_cell_is_held_at_its_limit_and_reported(data_type: DataType) -> None:
    store = storage(data_type)
    found = Scaling().to_raw([-1e300, 1e300, 1.0], data_type)
    low, high, inside = found.values.tolist()
    if store.is_float and data_type == "float64":
        assert found.saturated.tolist() == [False, False, False]
    else:
        assert (low, high, inside) == (store.minimum, store.maximum, 1)
        assert found.saturated.tolist() == [True, True, False]


integers = st.sampled_from([t for t in DATA_TYPES if not storage(t).is_float and storage(t).itemsize <= 4])


@given(st.one_of(linear, rational), integers, st.integers(0, 2**32))
def test_stored_number_survives_the_way_to_physical_and_back(scaling: Scaling, data_type: DataType, seed: int) -> None:
    store = storage(data_type)
    rng = np.random.default_rng(seed)
    raw = rng.integers(int(store.minimum), int(store.maximum), 20, endpoint=True)
    physical = scaling.to_physical(raw)
    # Double precision has to hold the offset and one step of the number at the same time.
    if scaling.kind == "linear":
        factor, offset = scaling.coefficients
        exact = abs(offset) < 2**40 * abs(factor)
    else:
        _, b, c, _, _, f = scaling.coefficients
        exact = abs(c) < 2**40 * abs(f) and abs(b / f) < 1e9
    if exact:
        back = scaling.to_raw(physical, data_type)
        np.testing.assert_array_equal(back.values, raw)
        assert not back.saturated.any()


@given(st.lists(finite, min_size=1, max_size=20), linear, integers)
def test_wanted_value_is_met_to_half_a_step_or_reported(wanted: list[float], scaling: Scaling, data_type: str) -> None:
    found = scaling.to_raw(wanted, data_type)  # type: ignore[arg-type]  # a sampled data type
    got = scaling.to_physical(found.values)
    step = abs(scaling.coefficients[0])
    inside = ~found.saturated
    error = np.abs(got - np.array(wanted))[inside]
    assert (error <= step * 0.5 * (1 + 1e-6) + 1e-6).all()


@pytest.mark.parametrize(
    "scaling",
    [
        Scaling(kind="linear", coefficients=(0, 1)),
        Scaling(kind="linear", coefficients=(math.inf, 1)),
        Scaling(kind="rational", coefficients=(0, 0, 5, 0, 0, 1)),
        Scaling(kind="rational", coefficients=(0, 1, 0, 0, 0, 0)),
        Scaling(kind="rational", coefficients=(0, 1, 0)),
        Scaling(kind="interpolated table"),
        Scaling(kind="exact table", points=((1, 2), (1, 3))),
        Scaling(kind="formula", formula="__import__('os')"),
    ],
)
def test_conversion_without_a_value_is_refused(scaling: Scaling) -> None:
    with pytest.raises(BadInput):
        check_scaling(scaling)


def test_conversion_that_cannot_be_turned_around_says_so() -> None:
    with pytest.raises(BadInput, match="monotonic"):
        Scaling(kind="interpolated table", points=((0, 0), (1, 5), (2, 1))).to_raw([3.0], "uint8")
    with pytest.raises(BadInput, match="inverse"):
        Scaling(kind="formula", formula="X1").to_raw([3.0], "uint8")
