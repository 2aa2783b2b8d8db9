"""What is known of a calibration that nobody has an image of: what images show up to a point, and what was noted since.

A note says of a map what it was and what it became, or only by how much it changed, for all of its cells or for some.
Notes are put on top of each other and of what an image shows, as far as their numbers fit together.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import EllipsisType

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.changed_maps import state_of, subject_of
from app.calc.calibration.delta_summary import build_deltas, differs
from app.calc.calibration.map_delta import DeltaAxis, Floats, MapDelta, MapState, MapSubject
from app.calc.calibration.map_table import MapTable
from app.calc.number_text import plain, with_unit

_Course = tuple[MapSubject, MapState, MapState]
Cells = tuple[NDArray[np.intp], ...] | EllipsisType


@dataclass(frozen=True, slots=True)
class Known:
    """The changes as far as they are known, and one sentence for each thing that does not fit or is not known."""

    deltas: tuple[MapDelta, ...]
    findings: tuple[str, ...]


def known_changes(shown: Sequence[MapDelta], tables: Mapping[str, MapTable], notes: Iterable[MapDelta]) -> Known:
    """Put `notes`, in the order in which they were made, on top of what images show.

    Parameters
    ----------
    shown : changes that images prove, from the start to the image that the first note is about.
    tables : maps of that image, by name, as far as a layout knows them.
    """
    known: dict[str, _Course] = {d.name: (d.subject, d.state_before, d.state_after) for d in shown}
    findings: list[str] = []
    for note in notes:
        table = tables.get(note.name)
        course = known.get(note.name)
        if course is None and table is not None:
            here = state_of(table)
            course = subject_of(table.definition, note.subject.position), here, here
        known[note.name] = _own(note) if course is None else _on_top(course, note, findings)
    deltas = build_deltas([course for course in known.values() if _says_something(*course)])
    return Known(tuple(deltas), tuple(dict.fromkeys(findings)))


def _says_something(subject: MapSubject, before: MapState, after: MapState) -> bool:
    if subject.entered_change is not None or not before.same_axes(after):
        return True
    return bool(differs(before, after).any())


def _own(note: MapDelta) -> _Course:
    return note.subject, note.state_before, note.state_after


def _on_top(course: _Course, note: MapDelta, findings: list[str]) -> _Course:
    """The course of one map, continued by a note; the note alone where the two do not fit."""
    subject, start, now = course
    name = note.name
    entered = note.subject.entered_change
    if subject.entered_change is not None or subject.kind == "text":
        findings.append(f"{name}: two changes were noted of which the values are not known; the last one is shown.")
        return _own(note)
    percent = entered is not None and note.unit == "%" and subject.unit != "%"
    if note.unit != subject.unit and not percent:
        findings.append(
            f"{name}: noted in {note.unit or 'no unit'}, known in {subject.unit or 'no unit'}; the note alone is shown."
        )
        return _own(note)
    cells = _cells(note, now)
    if cells is None:
        findings.append(f"{name}: noted for other cells than are known of this map; the note alone is shown.")
        return _own(note)
    if entered is None:
        before, noted = (_spread(side, cells, now) for side in (note.before, note.after))
        _check_before(note, before, now, findings)
        after = np.where(np.isnan(noted), now.values, noted)
    else:
        findings.append(f"{name}: only the change was noted; the values are what was known before, and that change.")
        after = _changed(now.values, _spread(entered, cells, now), percent)
    return replace(subject, scaling=None, raw_minimum=None, raw_maximum=None), _bare(start), _bare(now, after)


def _cells(note: MapDelta, now: MapState) -> Cells | None:
    """Where the note's numbers lie in the map: every cell, or those at the breakpoints that were written down.

    None when the map has no such cells.
    """
    if note.after.ndim == 0 and note.subject.entered_change is not None:
        return ...
    if not note.axes_after:
        return ... if note.after.shape == now.values.shape else None
    if len(note.axes_after) != len(now.axes) or len(now.axes) != now.values.ndim:
        return None
    found = [_points(noted, axis) for noted, axis in zip(note.axes_after, now.axes, strict=True)]
    places = [places for places in found if places is not None]
    return np.ix_(*reversed(places)) if len(places) == len(found) else None


def _points(noted: DeltaAxis, axis: DeltaAxis) -> NDArray[np.intp] | None:
    """The place of each noted breakpoint on the axis, within half of the last place that was written down."""
    if axis.values.size == 0 or not np.isfinite(axis.values).all() or (noted.unit and noted.unit != axis.unit):
        return None
    distance = np.abs(noted.values[:, None] - axis.values)
    places = distance.argmin(axis=1)
    near = distance.min(axis=1) <= 0.5001 * 10.0**-noted.decimals
    return places if near.all() and np.unique(places).size == places.size else None


def _spread(numbers: Floats, cells: Cells, now: MapState) -> Floats:
    """The note's numbers at their cells of the whole map; NaN, that is not noted, elsewhere."""
    whole = np.full(now.values.shape, np.nan)
    whole[cells] = numbers
    return whole


def _changed(values: Floats, entered: Floats, percent: bool) -> Floats:
    change = np.nan_to_num(entered)  # cells that nobody named stay
    with np.errstate(all="ignore"):
        return np.asarray(values * (1 + change / 100) if percent else values + change)


def _check_before(note: MapDelta, before: Floats, now: MapState, findings: list[str]) -> None:
    """Whether the note starts from what is known, within half of the last place that was written down."""
    name = note.name
    with np.errstate(all="ignore"):
        apart = np.abs(before - now.values)
    wrong: NDArray[np.bool_] = np.asarray(apart > 0.5001 * 10.0**-note.decimals)
    count = int(np.count_nonzero(wrong))
    if count == 1:
        sides = (float(before[wrong][0]), float(now.values[wrong][0]))
        noted, here = (with_unit(plain(side, note.decimals), note.unit) for side in sides)
        findings.append(f"{name}: the note starts from {noted}, but {here} was known before.")
    elif count:
        size = with_unit(plain(float(apart[wrong].max()), note.decimals), note.unit)
        findings.append(f"{name}: the note starts from other values than are known, in {count} cells, by up to {size}.")


def _bare(state: MapState, values: Floats | None = None) -> MapState:
    """A state without stored numbers: no image holds them."""
    return MapState(state.values if values is None else values, state.axes)
