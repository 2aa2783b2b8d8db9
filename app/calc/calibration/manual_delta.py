"""Changes that nobody has an image of: maps and numbers as a person notes them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from app.calc.calibration.byte_changes import ByteChanges
from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta_summary import build_deltas
from app.calc.calibration.layout import CATEGORIES, Category, MapKind
from app.calc.calibration.map_delta import DeltaAxis, Floats, MapDelta, MapState, MapSubject
from app.errors import BadInput

_KINDS: tuple[MapKind, ...] = ("value", "curve", "map")
_MOST_CELLS = 100_000


def manual_delta(
    name: str,
    *,
    before: ArrayLike | None = None,
    after: ArrayLike | None = None,
    change: ArrayLike | None = None,
    unit: str = "",
    category: Category = "other",
    axes: Sequence[DeltaAxis] = (),
    decimals: int = 2,
) -> MapDelta:
    """A map's change from numbers: before and after, or only the change.

    Shapes are () for one number (also one that holds for every cell), (nx,) with an x axis, (ny, nx) with x and y
    axes, or without axes where nobody noted them. BadInput names the parameter that does not fit.

    >>> manual_delta("spark advance", before=[10.0, 12.0], after=[12.0, 14.0], unit="deg").summary.mean
    2.0
    >>> manual_delta("spark advance", change=2.0, unit="deg").summary.largest.change
    2.0
    """
    if not name.strip():
        raise BadInput("Name the map that was changed.", field="name")
    if category not in CATEGORIES:
        raise BadInput(f"{category!r} is no category; choose one of {', '.join(CATEGORIES)}.", field="category")
    if (change is None) == (before is None or after is None):
        raise BadInput(f"Give before and after of the map {name!r}, or only the change.", field="before")
    entered = None if change is None else _numbers("change", change)
    old, new = (_nothing(entered) if entered is not None else _numbers(*side) for side in _sides(before, after))
    if old.shape != new.shape:
        raise BadInput(f"Before and after of the map {name!r} have different numbers of cells.", field="after")
    _check_axes(name, new, axes)
    kind = _KINDS[new.ndim]
    subject = MapSubject(name.strip(), kind, category, unit.strip(), decimals, entered_change=entered)
    states = MapState(old, tuple(axes)), MapState(new, tuple(axes))
    return build_deltas([(subject, *states)])[0]


def comparison_by_hand(deltas: Sequence[MapDelta]) -> Comparison:
    """Changes entered by hand as one comparison, without any bytes; BadInput when a map stands there twice."""
    names = [delta.name for delta in deltas]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise BadInput(f"The map {twice!r} stands there twice; enter all its cells together.", field="name")
    nothing = np.empty(0, np.int64)
    changes = ByteChanges(nothing, nothing.astype(np.int16), nothing.astype(np.int16), nothing.astype(np.int8))
    return Comparison(tuple(deltas), (), (), (), changes)


def _sides(before: ArrayLike | None, after: ArrayLike | None) -> list[tuple[str, ArrayLike | None]]:
    return [("before", before), ("after", after)]


def _nothing(like: Floats) -> Floats:
    return np.full(like.shape, np.nan)


def _numbers(field: str, given: ArrayLike | None) -> Floats:
    try:
        numbers = np.array(given, dtype=np.float64)
    except (TypeError, ValueError):
        raise BadInput("The cells must be numbers in rows of one length.", field=field) from None
    if numbers.ndim > 2 or numbers.size == 0 or numbers.size > _MOST_CELLS:
        raise BadInput(f"A map has 1 to {_MOST_CELLS:,} cells in at most two directions.", field=field)
    if np.isinf(numbers).any():
        raise BadInput("A cell holds a number that is not finite.", field=field)
    return numbers


def _check_axes(name: str, cells: Floats, axes: Sequence[DeltaAxis]) -> None:
    if axes and tuple(axis.values.size for axis in reversed(axes)) != cells.shape:
        points = " by ".join(str(axis.values.size) for axis in axes)
        raise BadInput(f"The map {name!r} has axes for {points} cells and {cells.size} numbers.", field="axes")
