"""A map's change in words and figures."""

import math

import numpy as np

from app.calc.calibration.delta_summary import differs
from app.calc.calibration.map_delta import AxisPlace, MapDelta
from app.calc.number_text import MINUS, counted, with_unit

_NOISE, _WIDE = 1e-9, 1e12


def number(value: float | None, decimals: int, *, sign: bool = False) -> str:
    """A value with a true minus; "–" where there is none, "∞" where a float is infinite.

    What `decimals` would show as zero, or in a row of digits that nobody reads, is shown to a few digits instead.
    """
    if value is None or math.isnan(value):
        return "–"
    if math.isinf(value):
        return f"{MINUS if value < 0 else '+' if sign else ''}∞"
    plus = "+" if sign else ""
    text = f"{value:{plus}.6g}" if abs(value) >= _WIDE else f"{value:{plus},.{decimals}f}"
    if not text.strip("+-0.,"):
        text = f"{value:{plus}.2g}" if abs(value) > _NOISE else text.lstrip("+-")
    return text.replace("-", MINUS)


def sentence_of(delta: MapDelta) -> str:
    """The change in words: how many cells, the largest change and where."""
    summary, unit, largest = delta.summary, delta.unit, delta.summary.largest
    if delta.kind == "text":
        return "The text changed."
    if largest is None:
        if summary.compared == "not comparable":
            return "The shape or the breakpoints changed so far that no point of both can be compared."
        if summary.changed:
            return _immeasurable(delta)
        return "Breakpoints moved, and the function that they describe stayed the same."
    percent = "" if largest.percent is None else f" ({number(largest.percent, 1, sign=True)} %)"
    change = with_unit(number(largest.change, delta.decimals, sign=True), unit) + percent
    if summary.cells == 1 and largest.before is None:
        return f"Changed by {change}; what it was before is not noted."
    if summary.cells == 1:
        before, after = number(largest.before, delta.decimals), number(largest.after, delta.decimals)
        return f"{before} became {with_unit(after, unit)}: {change}."
    points = "points of both axes" if delta.axis_changed else "cells"
    moved = "Breakpoints moved; the functions are compared. " if delta.axis_changed else ""
    return (
        f"{moved}{summary.changed} of {summary.cells} {points} changed; the largest change is {change}"
        f"{_place(largest.at)}."
    )


def _immeasurable(delta: MapDelta) -> str:
    """The only changes are from or to something that is no finite number."""
    changed, cells = delta.summary.changed, delta.summary.cells
    if cells == 1:
        before, after = (number(float(side.ravel()[0]), delta.decimals) for side in (delta.before, delta.after))
        return f"{before} became {with_unit(after, delta.unit)}; no figure can be given for the change."
    which = "1 cell" if changed == 1 else f"{changed} cells"
    return f"{which} of {cells} changed from or to what is no finite number; no figure can be given for the change."


def no_figure(delta: MapDelta) -> int:
    """Changed cells without a difference: a float that is infinite or no number, before or after."""
    grid = delta.grid
    if grid is None or delta.by_hand or delta.moved_grid is not None:
        return 0
    return int(np.count_nonzero(differs(delta.state_before, delta.state_after) & ~np.isfinite(grid.change)))


def _place(at: tuple[AxisPlace, ...]) -> str:
    places = [f"{a.name} {with_unit(number(a.value, a.decimals), a.unit)}".strip() for a in at]
    return f" at {' and '.join(places)}" if places else ""


def notes_of(delta: MapDelta) -> tuple[str, ...]:
    """What a person should know before trusting the figures, one sentence each."""
    summary, notes = delta.summary, []
    for count, which in ((summary.at_raw_maximum, "largest"), (summary.at_raw_minimum, "smallest")):
        if count:
            cells = "cell holds" if count == 1 else "cells hold"
            notes.append(f"{count} changed {cells} the {which} number that fits: the wanted value may lie beyond it.")
    without = no_figure(delta)
    if without and summary.largest is not None:
        cells = "cell is" if without == 1 else "cells are"
        notes.append(f"{without} changed {cells} infinite or no number before or after; they count in no figure.")
    if summary.uncovered:
        notes.append(
            f"{counted(summary.uncovered, 'point lies', 'points lie')} beyond the breakpoints of one of the two maps, "
            f"which holds its end value there; {'it counts' if summary.uncovered == 1 else 'they count'} in no figure."
        )
    if delta.by_hand:
        notes.append("Entered by hand; no image proves it.")
    return tuple(notes)


def facts_of(delta: MapDelta) -> tuple[tuple[str, str | None], ...]:
    """The figures of the change, in the map's unit."""
    s = delta.summary
    if s.largest is None:
        return (("Cells", f"{s.changed} of {s.cells} changed"), ("Compared", s.compared))
    percent = None
    if s.percent_minimum is not None and s.percent_maximum is not None:
        low, high = number(s.percent_minimum, 1, sign=True), number(s.percent_maximum, 1, sign=True)
        percent = f"{low} %" if low == high else f"{low} to {high} %"
    single = (("Change in percent of before", percent),)
    if s.cells == 1:
        before, after = number(s.largest.before, delta.decimals), number(s.largest.after, delta.decimals)
        unit = delta.unit
        change = ("Change", _signed(delta, s.largest.change))
        return ("Before", with_unit(before, unit)), ("After", with_unit(after, unit)), change, *single
    low, high = _signed(delta, s.minimum), _signed(delta, s.maximum)
    return (
        ("Changed", f"{s.changed} of {s.cells} {'points' if delta.axis_changed else 'cells'}"),
        ("Change from – to", low if low == high else f"{low} to {high}"),
        ("Mean over all", _signed(delta, s.mean)),
        ("Mean over the changed", _signed(delta, s.mean_of_changed)),
        *single,
        ("Compared", s.compared),
    )


def _signed(delta: MapDelta, value: float | None) -> str:
    return with_unit(number(value, delta.decimals, sign=True), delta.unit)
