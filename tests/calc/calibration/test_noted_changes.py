"""The shop can rely on it that notes are put on top of what images show only where the two fit, and says where not."""

from typing import Any

import numpy as np

from app.calc.calibration.decode import decode
from app.calc.calibration.delta import compare
from app.calc.calibration.manual_delta import manual_delta
from app.calc.calibration.map_delta import DeltaAxis, MapDelta
from app.calc.calibration.noted_changes import Known, known_changes
from tests.calc.calibration.pairs import ENGINE, engine

SPEED = DeltaAxis("engine speed", "1/min", np.array([1000.0, 2000, 3000, 4000]), 0)
NAN = np.nan


def torque(before: Any, after: Any, **given: Any) -> MapDelta:
    """In the image: 200, 300, 350, 300 N·m."""
    fields: dict[str, Any] = {"unit": "N·m", "category": "limiter", "axes": (SPEED,), "decimals": 1} | given
    return manual_delta("torque limit", before=before, after=after, **fields)


def known(*notes: MapDelta, **shown: Any) -> Known:
    """Notes about stock, or about an image that differs from it."""
    image = engine(**shown)
    deltas = compare(engine(), image, ENGINE).deltas if shown else ()
    return known_changes(deltas, decode(image, ENGINE), notes)


def test_a_note_of_the_whole_map_stands_as_it_was_noted() -> None:
    found = known(torque([200, 300, 350, 300], [200, 310, 360, 300]))
    (delta,) = found.deltas
    assert (delta.before.tolist(), delta.after.tolist()) == ([200, 300, 350, 300], [200, 310, 360, 300])
    assert delta.by_hand and found.findings == ()


def test_cells_that_nobody_noted_are_those_of_the_image() -> None:
    (delta,) = known(torque([NAN, 300, NAN, NAN], [NAN, 310, NAN, NAN])).deltas
    assert delta.after.tolist() == [200, 310, 350, 300]
    assert (delta.summary.changed, delta.summary.cells) == (1, 4)


def test_single_cells_are_found_by_the_breakpoints_that_were_written_down() -> None:
    """At 2000 1/min and 50 % the image holds 24 steps of 0.75 deg."""
    at = (DeltaAxis("engine speed", "1/min", np.array([2000.0, 4000]), 0), DeltaAxis("load", "", np.array([50.0]), 0))
    found = known(manual_delta("spark advance", before=[[19.5, NAN]], after=[[21.0, NAN]], unit="deg", axes=at))
    (delta,) = found.deltas
    changed = np.argwhere(delta.after != delta.before).tolist()
    assert (changed, delta.summary.changed, delta.summary.cells) == ([[2, 1]], 1, 12)
    assert found.findings == ("spark advance: the note starts from 19.50 deg, but 18.00 deg was known before.",)


def test_a_note_that_starts_from_other_values_than_the_image_is_told() -> None:
    found = known(torque([210, 300, 350, 300], [220, 300, 350, 300]))
    assert found.findings == ("torque limit: the note starts from 210.0 N·m, but 200.0 N·m was known before.",)
    several = known(torque([210, 320, 350, 300], [1, 2, 3, 4])).findings
    assert several == (
        "torque limit: the note starts from other values than are known, in 2 cells, by up to 20.0 N·m.",
    )
    assert found.deltas[0].before.tolist() == [200, 300, 350, 300]


def test_a_difference_within_the_last_place_noted_is_none() -> None:
    assert known(torque([200.4, 300, 350, 300], [210, 300, 350, 300], decimals=0)).findings == ()


def test_a_change_alone_gets_its_values_from_the_image() -> None:
    for note, expected in (
        (manual_delta("torque limit", change=10.0, unit="N·m"), [210, 310, 360, 310]),
        (manual_delta("torque limit", change=10.0, unit="%"), [220, 330, 385, 330]),
        (manual_delta("torque limit", change=[NAN, 5.0, NAN, 0.0], unit="N·m", axes=(SPEED,)), [200, 305, 350, 300]),
    ):
        found = known(note)
        np.testing.assert_allclose(found.deltas[0].after, expected)
        assert "only the change was noted" in found.findings[0]


def test_a_note_on_top_of_an_image_gives_the_change_since_the_start() -> None:
    """The image raised 350 to 360 and the spark advance; the note goes on to 380."""
    spark = ((10, 20, 30, 40), (12, 24, 32, 42), (14, 24, 34, 44))
    found = known(torque([NAN, NAN, 360, NAN], [NAN, NAN, 380, NAN]), torque=(2000, 3000, 3600, 3000), spark=spark)
    assert [delta.name for delta in found.deltas] == ["spark advance", "torque limit"]
    assert found.deltas[1].before.tolist() == [200, 300, 350, 300]
    assert found.deltas[1].after.tolist() == [200, 300, 380, 300]
    assert not found.deltas[0].by_hand


def test_later_notes_go_on_from_earlier_ones_and_back_is_no_change() -> None:
    there = torque([NAN, 300, NAN, NAN], [NAN, 310, NAN, NAN])
    back = torque([NAN, 310, NAN, NAN], [NAN, 300, NAN, NAN])
    assert known(there, back).deltas == ()
    further = known(there, torque([NAN, 310, NAN, NAN], [NAN, 325, NAN, NAN]))
    assert further.deltas[0].after.tolist() == [200, 325, 350, 300]


def test_what_does_not_fit_is_shown_alone_and_told() -> None:
    other_axis = DeltaAxis("engine speed", "1/min", np.array([900.0, 2000, 3000, 4000]), 0)
    for note, words in (
        (torque(20, 21, unit="bar", axes=()), "noted in bar, known in N·m"),
        (torque([200, 300], [210, 310], axes=()), "other cells"),
        (torque([200, 300, 350, 300], [1, 2, 3, 4], axes=(other_axis,)), "other cells"),
    ):
        found = known(note)
        assert words in found.findings[0]
        assert np.array_equal(found.deltas[0].after, note.after)


def test_a_map_that_no_layout_knows_is_what_was_noted() -> None:
    note = manual_delta("idle speed", change=50.0, unit="1/min")
    (delta,) = known(note).deltas
    assert delta.subject.entered_change is not None and known(note).findings == ()
    twice = known(note, note)
    assert len(twice.deltas) == 1 and "values are not known" in twice.findings[0]
