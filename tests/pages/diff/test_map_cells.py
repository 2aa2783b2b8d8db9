"""The shop can rely on it that the table of cells shows the grid's numbers, in colours that follow the change."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from app.calc.calibration.manual_delta import manual_delta
from app.calc.calibration.map_delta import DeltaAxis
from app.calc.number_text import with_unit
from app.pages.diff.map_cells import limit_of, plain, table_of
from app.pages.diff.map_list import direction, relative_size
from app.pages.diff.words import number, sentence_of

NUMBERS = st.floats(-1e4, 1e4).map(lambda value: round(value, 3))


def typed(text: str) -> float:
    """What a person reads from a cell."""
    return float(text.replace("\u2212", "-").replace(",", "").replace("+", ""))


@given(data=st.data(), shape=array_shapes(min_dims=1, max_dims=2, max_side=6))
def test_cells_read_as_the_numbers_they_stand_for(data: st.DataObject, shape: tuple[int, ...]) -> None:
    before, after = (data.draw(arrays(np.float64, shape, elements=NUMBERS)) for _ in range(2))
    delta = manual_delta("m", before=before, after=after, decimals=3)
    assert delta.grid is not None
    for show, wanted in (("before", before), ("after", after), ("change", after - before)):
        table = table_of(delta, delta.grid, show)
        read = [[typed(cell["text"]) for cell in row] for row in table["rows"]]
        np.testing.assert_allclose(read, np.atleast_2d(wanted), atol=0.0005 + 1e-9)
    steps = np.array([[cell["step"] for cell in row] for row in table_of(delta, delta.grid, "change")["rows"]])
    change = np.atleast_2d(after - before)
    np.testing.assert_array_equal(np.sign(steps), np.sign(change))
    assert np.abs(steps).max() == (4 if (change != 0).any() else 0)
    order = np.argsort(np.abs(change), axis=None)
    assert (np.diff(np.abs(steps).ravel()[order]) >= 0).all()
    assert np.abs(change).max() <= limit_of(delta.grid)


def test_percent_is_of_the_value_before_and_missing_where_that_is_zero() -> None:
    delta = manual_delta("m", before=[0.0, 10.0, -10.0], after=[5.0, 12.0, -8.0])
    assert delta.grid is not None
    row = table_of(delta, delta.grid, "percent")["rows"][0]
    assert [cell["text"] for cell in row] == ["–", "+20.0", "+20.0"]


def test_breakpoints_stand_along_the_sides() -> None:
    axes = (
        DeltaAxis("engine speed", "1/min", np.array([1000.0, 2000.0]), 0),
        DeltaAxis("load", "-", np.array([0.5, 1.0]), 1),
    )
    delta = manual_delta("m", before=[[1, 2], [3, 4]], after=[[1, 2], [3, 5]], axes=axes)
    assert delta.grid is not None
    table = table_of(delta, delta.grid, "change")
    assert table["x"] == {"label": "engine speed", "unit": "1/min", "values": ["1,000", "2,000"]}
    assert table["y"] == {"label": "load", "unit": "no unit", "values": ["0.5", "1.0"]}
    assert sentence_of(delta) == (
        "1 of 4 cells changed; the largest change is +1.00 (+25.0 %) at engine speed 2,000 1/min and load 1.0."
    )


def test_a_gap_is_null_in_the_data_of_charts() -> None:
    assert plain(np.array([1.0, np.nan, np.inf])) == [[1.0, None, None]]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        (float("nan"), "–"),
        (float("-inf"), "\u2212∞"),
        (0.0, "0.00"),
        (-1e-14, "0.00"),  # the noise of a sum
        (-0.001, "\u22120.001"),  # a change is never shown as none
        (1234.5, "+1,234.50"),
        (-3, "\u22123.00"),
        (3e38, "+3e+38"),
    ],
)
def test_numbers_carry_a_true_minus_and_zero_no_sign(value: float | None, text: str) -> None:
    assert number(value, 2, sign=True) == text


def test_a_dash_is_no_unit() -> None:
    assert with_unit("1", "-") == with_unit("1", "") == "1"
    assert with_unit("1", "bar") == "1 bar"


@pytest.mark.parametrize(
    ("before", "after", "way"),
    [([1, 1], [1, 2], "raised"), ([1, 1], [0, 1], "lowered"), ([1, 1], [0, 2], "both")],
)
def test_the_direction_of_a_change(before: list[float], after: list[float], way: str) -> None:
    assert direction(manual_delta("m", before=before, after=after)) == way


def test_maps_of_different_units_are_ordered_by_their_share() -> None:
    small = manual_delta("pressure", before=[1000.0, 2000.0], after=[1000.0, 2100.0], unit="hPa")
    large = manual_delta("lambda", before=[0.9, 1.0], after=[0.9, 1.2])
    assert relative_size(small) == pytest.approx(0.05)
    assert relative_size(large) == pytest.approx(0.2)
