"""The shop can rely on it that the history of a cell names the revision that changed it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.calibration.blame import FROM_THE_START, blame, cell_history
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.record_layout import Record, RecordPart
from app.errors import BadInput
from tests.calc.calibration.pairs import ENGINE, engine

numbers = st.tuples(*[st.integers(0, 2)] * 4)


@given(st.lists(numbers, min_size=1, max_size=6))
@settings(max_examples=200, deadline=None)
def test_each_cell_names_the_last_image_that_changed_it(line: list[tuple[int, ...]]) -> None:
    found = blame([engine(torque=values) for values in line], ENGINE, "torque limit")
    for cell in range(4):
        changes = [k for k in range(1, len(line)) if line[k][cell] != line[k - 1][cell]]
        assert found.cells[cell] == (changes[-1] if changes else FROM_THE_START)
    assert found.table.raw.tolist() == list(line[-1])
    assert found.axes[0].tolist() == [FROM_THE_START] * 4


def test_breakpoints_have_a_history_too_and_revisions_without_image_are_passed_over() -> None:
    line = [engine(), None, engine(speed=(1000, 1500, 3000, 4000)), None, engine(speed=(1000, 1500, 3000, 4500))]
    found = blame(line, ENGINE, "torque limit")
    assert found.axes[0].tolist() == [FROM_THE_START, 2, FROM_THE_START, 4]
    assert (found.cells == FROM_THE_START).all()


def test_another_number_of_points_changes_every_cell() -> None:
    parts = (RecordPart("count", "uint8", 0), RecordPart("axis", "uint8", 0), RecordPart("values", "uint8"))
    axis = AxisDefinition("x", "in record", count=4)
    layout = Layout("l", maps=(MapDefinition("c", "curve", 0, axes=(axis,), record=Record("r", parts)),))
    line = [Image.of([(0, bytes((n, *range(n), *range(n), *bytes(8 - 2 * n))))]) for n in (3, 4, 4)]
    assert blame(line, layout, "c").cells.tolist() == [1, 1, 1, 1]


def test_a_map_that_no_image_holds_is_refused() -> None:
    with pytest.raises(BadInput, match="None of the images"):
        blame([Image.of([(0, b"x")]), None], ENGINE, "torque limit")
    with pytest.raises(BadInput, match="no map 'boost'"):
        blame([engine()], ENGINE, "boost")


def test_one_cell_over_the_tree() -> None:
    """stock → 1 → 2, and 3 from stock; 1 was entered by hand."""
    tree = [
        ("stock", None, engine()),
        ("1", "stock", None),
        ("2", "1", engine(torque=(2000, 3100, 3500, 3000))),
        ("3", "stock", engine(torque=(2500, 3000, 3500, 3000))),
        ("4", "2", engine(torque=(2500, 3100, 3500, 3000))),
        ("5", "4", Image.of([(0x8000, bytes(16))])),
        ("6", "5", engine()),
    ]
    history = cell_history(tree, ENGINE, "torque limit", (1,))
    assert [(v.key, v.parent, v.value, v.changed) for v in history] == [
        ("stock", None, 300.0, False),
        ("2", "1", 310.0, True),
        ("3", "stock", 300.0, False),
        ("4", "2", 310.0, False),
        ("6", "5", 300.0, True),
    ]
    assert history[1].raw == 3100
    switch = cell_history(tree[:1], ENGINE, "launch control")
    assert (switch[0].text, switch[0].value) == ("off", 0.0)


def test_a_cell_that_is_none_gives_no_history() -> None:
    tree = [("stock", None, engine())]
    assert cell_history(tree, ENGINE, "torque limit", (4,)) == []
    assert cell_history(tree, ENGINE, "torque limit", (0, 0)) == []
    assert np.isclose(cell_history(tree, ENGINE, "spark advance", (2, 3))[0].value or 0, 33.0)
