"""Computed breakpoints."""

import numpy as np

from app.calc.calibration.axis_points import differences_summed, evenly_spaced, rescaled


def test_evenly_spaced_points_are_those_of_the_reference() -> None:
    # A2L reference objects C.fixpar (offset 100, shift 3) and C.fixdist (offset 800, distance 400).
    assert evenly_spaced(100, 2**3, 4).tolist() == [100, 108, 116, 124]
    assert evenly_spaced(800, 400, 4).tolist() == [800, 1200, 1600, 2000]


def test_differences_add_up_in_memory_order() -> None:
    assert differences_summed(np.array([10, 5, 5]), descending=False).tolist() == [10, 15, 20]
    assert differences_summed(np.array([-5, -5, 20]), descending=True).tolist() == [10, 15, 20]


def test_rescaled_points_lie_on_the_lines_between_the_pairs() -> None:
    # Worked by hand: positions 0, 64, 128, 192 and the end; pairs (0, 0), (100, 128), (120, 255).
    pairs = np.array([0, 0, 100, 128, 120, 255])
    found = rescaled(pairs, 5, "uint8")
    np.testing.assert_allclose(found, [0, 50, 100, 100 + 20 * 64 / 127, 120])


def test_single_rescaled_point_is_the_last() -> None:
    assert rescaled(np.array([7, 0, 9, 255]), 1, "uint8").tolist() == [9]
