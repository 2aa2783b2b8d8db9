"""The shop can rely on it that a change noted by hand is kept as it was noted, and never claims more."""

import numpy as np
import pytest

from app.calc.calibration.delta_algebra import apply
from app.calc.calibration.delta_json import delta_from_json, delta_to_json
from app.calc.calibration.delta_pack import pack_map_delta, unpack_map_delta
from app.calc.calibration.manual_delta import comparison_by_hand, manual_delta
from app.calc.calibration.map_delta import DeltaAxis
from app.errors import BadInput
from tests.calc.calibration.pairs import engine, same_delta

RPM = DeltaAxis("engine speed", "1/min", np.array([1000.0, 2000.0, 3000.0]), 0)
LOAD = DeltaAxis("load", "%", np.array([20.0, 60.0]), 0)


def test_before_and_after_give_the_same_figures_as_an_image_would() -> None:
    delta = manual_delta(
        "spark advance",
        before=[[10, 20, 30], [12, 22, 32]],
        after=[[10, 20, 30], [12, 24, 33]],
        unit="deg",
        category="ignition",
        axes=(RPM, LOAD),
    )
    summary = delta.summary
    assert (delta.kind, delta.by_hand, summary.cells, summary.changed, summary.maximum) == ("map", True, 6, 2, 2.0)
    assert summary.largest is not None
    assert [a.value for a in summary.largest.at] == [2000, 60]
    assert summary.percent_maximum == pytest.approx(100 * 2 / 22)


def test_a_change_alone_shows_no_values_that_nobody_wrote_down() -> None:
    delta = manual_delta("spark advance", change=2.0, unit="deg")
    assert (delta.kind, delta.summary.compared) == ("value", "as entered")
    assert delta.grid is not None
    assert (float(delta.grid.change), np.isnan(delta.grid.before), np.isnan(delta.after)) == (2.0, True, True)
    assert delta.summary.largest is not None
    assert (delta.summary.largest.change, delta.summary.largest.before, delta.summary.percent_mean) == (2.0, None, None)


def test_cells_that_nobody_named_count_in_no_figure() -> None:
    delta = manual_delta("torque", before=[100, np.nan, 120], after=[110, np.nan, 120], axes=(RPM,), unit="N·m")
    assert (delta.summary.changed, delta.summary.mean, delta.summary.minimum) == (1, 5.0, 0.0)


@pytest.mark.parametrize("values", [{"change": [1.0, np.nan, -2.0]}, {"before": [1.0, 2, 3], "after": [1, 2, 4]}])
def test_what_was_entered_comes_back_from_the_record(values: dict[str, list[float]]) -> None:
    delta = manual_delta("torque", **values, unit="N·m", category="torque", axes=(RPM,))
    assert same_delta(unpack_map_delta(pack_map_delta(delta)), delta)
    assert same_delta(delta_from_json(delta_to_json(delta)), delta)


def test_a_comparison_by_hand_names_no_bytes() -> None:
    found = comparison_by_hand([manual_delta("rev limit", before=6500, after=6800, category="limiter", unit="1/min")])
    assert found.sentence == "1 map changed, 1 limiter."
    assert (found.changed_bytes, found.unexplained, found.checksums) == (0, (), ())
    with pytest.raises(BadInput, match="entered by hand"):
        apply(engine(), found)


@pytest.mark.parametrize(
    ("name", "values", "field"),
    [
        ("", {"change": 1}, "name"),
        ("m", {}, "before"),
        ("m", {"before": 1}, "before"),
        ("m", {"before": 1, "after": 2, "change": 1}, "before"),
        ("m", {"before": [1, 2], "after": [1, 2, 3]}, "after"),
        ("m", {"before": [[1, 2], [3]], "after": 1}, "before"),
        ("m", {"change": "two"}, "change"),
        ("m", {"change": float("inf")}, "change"),
        ("m", {"change": []}, "change"),
        ("m", {"change": [1, 2], "axes": (RPM,)}, "axes"),
        ("m", {"change": 1, "category": "engine"}, "category"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_field(name: str, values: dict, field: str) -> None:
    with pytest.raises(BadInput) as refusal:
        manual_delta(name, **values)
    assert refusal.value.field == field


def test_one_map_twice_is_refused() -> None:
    with pytest.raises(BadInput, match="'torque' stands there twice"):
        comparison_by_hand([manual_delta("torque", change=1), manual_delta("torque", change=2)])
