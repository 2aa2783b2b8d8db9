"""The shop can rely on it that maps with moved breakpoints are compared as a control unit would read them.

Reference: scipy.interpolate.RegularGridInterpolator (linear) on points held inside the axes.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from app.calc.calibration.map_delta import DeltaAxis, MapState
from app.calc.calibration.union_grid import interpolated, union_grid

values = st.floats(-1e3, 1e3, allow_nan=False)


@st.composite
def axes(draw: st.DrawFn, name: str) -> DeltaAxis:
    points = draw(st.sets(st.integers(-50, 50), min_size=2, max_size=6))
    return DeltaAxis(name, "", np.array(sorted(points), np.float64))


@st.composite
def maps(draw: st.DrawFn) -> MapState:
    x, y = draw(axes("x")), draw(axes("y"))
    count = x.values.size * y.values.size
    cells = draw(st.lists(values, min_size=count, max_size=count))
    return MapState(np.array(cells).reshape(y.values.size, x.values.size), (x, y))


def reference(state: MapState, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    xs, ys = (axis.values for axis in state.axes)
    held_x, held_y = np.clip(x, xs[0], xs[-1]), np.clip(y, ys[0], ys[-1])
    grid = np.stack(np.meshgrid(held_y, held_x, indexing="ij"), axis=-1)
    return RegularGridInterpolator((ys, xs), state.values)(grid)


@given(maps(), st.lists(st.floats(-80, 80), min_size=1, max_size=5))
@settings(max_examples=200)
def test_reading_between_breakpoints_agrees_with_scipy(state: MapState, at: list[float]) -> None:
    points = np.array(at)
    ours = interpolated(state.values, state.axes, [points, points[::-1]])
    assert ours == pytest.approx(reference(state, points, points[::-1]), rel=1e-9, abs=1e-9)


@given(maps(), maps())
@settings(max_examples=200)
def test_the_difference_is_that_of_the_two_functions(before: MapState, after: MapState) -> None:
    grid = union_grid(before, after, None)
    assert grid is not None
    x, y = (axis.values for axis in grid.axes)
    expected = reference(after, x, y) - reference(before, x, y)
    assert grid.change == pytest.approx(expected, rel=1e-6, abs=1e-5)
    for k, at in enumerate((x, y)):
        assert set(at) == set(before.axes[k].values) | set(after.axes[k].values)
    inside = [
        (p >= max(a.values[0], b.values[0])) & (p <= min(a.values[-1], b.values[-1]))
        for p, a, b in zip((x, y), before.axes, after.axes, strict=True)
    ]
    assert np.array_equal(grid.covered, np.outer(inside[1], inside[0]))


@given(maps())
def test_a_map_stored_from_the_highest_breakpoint_down_is_the_same_map(state: MapState) -> None:
    x, y = state.axes
    turned = MapState(state.values[::-1, ::-1], tuple(DeltaAxis(a.name, "", a.values[::-1]) for a in (x, y)))
    grid = union_grid(state, turned, None)
    assert grid is not None
    assert not grid.change.any()


def test_points_that_differ_by_rounding_only_are_one() -> None:
    a = MapState(np.array([1.0, 2.0]), (DeltaAxis("x", "", np.array([0.1 + 0.2, 1.0])),))
    b = MapState(np.array([1.0, 2.0]), (DeltaAxis("x", "", np.array([0.3, 1.0])),))
    grid = union_grid(a, b, None)
    assert grid is not None
    assert grid.axes[0].values.size == 2


def test_a_value_at_a_breakpoint_beside_one_that_is_none_stays() -> None:
    x = DeltaAxis("x", "", np.array([0.0, 1.0, 2.0]))
    read = interpolated(np.array([1.0, np.nan, 3.0]), (x,), [np.array([0.0, 0.5, 2.0])])
    assert read[0] == 1.0 and np.isnan(read[1]) and read[2] == 3.0


def test_maps_of_different_dimensions_are_not_compared() -> None:
    x = DeltaAxis("x", "", np.array([0.0, 1.0]))
    assert union_grid(MapState(np.zeros(2), (x,)), MapState(np.zeros((2, 2)), (x, x)), None) is None
    assert union_grid(MapState(np.zeros(2)), MapState(np.zeros(3)), None) is None
