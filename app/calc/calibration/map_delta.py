"""How one map changed: both states, the difference as a function of its axes, and its summary."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.layout import Category, MapKind
from app.calc.calibration.scaling import Scaling

Floats = NDArray[np.float64]
Compared = Literal["cell by cell", "on both axes", "text", "not comparable", "as entered"]


@dataclass(frozen=True, slots=True, eq=False)
class DeltaAxis:
    """Breakpoints of one axis: `values` float64 (n,), physical."""

    name: str
    unit: str
    values: Floats
    decimals: int = 2

    def same_points(self, other: "DeltaAxis") -> bool:
        """True when both have the same breakpoints."""
        return np.array_equal(self.values, other.values, equal_nan=True)


@dataclass(frozen=True, slots=True, eq=False)
class MapState:
    """One map in one image.

    values : float64, shape () | (nx,) | (ny, nx), row y, column x; NaN where the conversion has no value.
    raw : stored numbers of the same shape; None when nobody read them from an image.
    texts : for the kind "text" its one text; for a conversion with texts the text of each cell; else empty.
    """

    values: Floats
    axes: tuple[DeltaAxis, ...] = ()
    raw: NDArray[Any] | None = None
    texts: tuple[str, ...] = ()

    def same_axes(self, other: "MapState") -> bool:
        """True when both have the same shape and the same breakpoints."""
        if self.values.shape != other.values.shape or len(self.axes) != len(other.axes):
            return False
        return all(a is b or a.same_points(b) for a, b in zip(self.axes, other.axes, strict=True))


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Before and after on one common grid, where they can be subtracted.

    axes : () | (x,) | (x, y). before, after, change : float64 of one shape.
    covered : False where only one of the two maps has the point within its breakpoints and the other is held at
        its end value; those points count in no statistic.
    """

    axes: tuple[DeltaAxis, ...]
    before: Floats
    after: Floats
    change: Floats
    covered: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class AxisPlace:
    """A point on one axis."""

    name: str
    unit: str
    value: float
    decimals: int


@dataclass(frozen=True, slots=True)
class LargestChange:
    """The largest change by size; the first one in reading order when several are equal.

    `index` is its cell in the grid, `at` its place on the axes; before and after are None where only the change is
    known.
    """

    change: float
    before: float | None
    after: float | None
    percent: float | None
    index: tuple[int, ...]
    at: tuple[AxisPlace, ...]


@dataclass(frozen=True, slots=True)
class DeltaSummary:
    """Figures of one change, in the map's unit.

    cells : points of the grid. changed : how many of them differ. Minimum, maximum and mean are over all covered
    points, `mean_of_changed` over those that differ; None when no point can be compared.
    percent_* : of the changed points, change / |before|, so that its sign is the direction; None where before is 0.
    at_raw_minimum, at_raw_maximum : changed cells that now hold the smallest or largest number they can.
    axes_changed : for each axis whether a breakpoint moved.
    """

    cells: int
    changed: int
    minimum: float | None = None
    maximum: float | None = None
    mean: float | None = None
    mean_of_changed: float | None = None
    percent_minimum: float | None = None
    percent_maximum: float | None = None
    percent_mean: float | None = None
    largest: LargestChange | None = None
    at_raw_minimum: int = 0
    at_raw_maximum: int = 0
    axes_changed: tuple[bool, ...] = ()
    uncovered: int = 0
    compared: Compared = "cell by cell"

    @property
    def in_a_word(self) -> str:
        """What stands where the size of the change would, for a change that has none."""
        return in_a_word(self.compared, self.changed)


def in_a_word(compared: str, changed: int) -> str:
    """What to call a change without a size.

    >>> in_a_word("text", 3), in_a_word("cell by cell", 1), in_a_word("on both axes", 0)
    ('text', 'no figure', 'breakpoints')
    """
    if compared == "text":
        return "text"
    return "no figure" if changed and compared != "not comparable" else "breakpoints"


@dataclass(frozen=True, slots=True, eq=False)
class MapSubject:
    """What stays the same: the map itself. Raw limits and scaling are None for a change entered by hand.

    position : the map's place in its layout, for putting deltas in order.
    entered_change : the change alone, for a change entered by hand of which nobody wrote down the values.
    """

    name: str
    kind: MapKind
    category: Category = "other"
    unit: str = ""
    decimals: int = 2
    data_type: str = ""
    raw_minimum: float | None = None
    raw_maximum: float | None = None
    scaling: Scaling | None = None
    position: int = 0
    entered_change: Floats | None = None


@dataclass(frozen=True, slots=True, eq=False)
class MapDelta:
    """One map's change. `grid` is None for texts and for shapes that cannot be compared."""

    subject: MapSubject
    state_before: MapState
    state_after: MapState
    summary: DeltaSummary
    moved_grid: Grid | None = None

    @property
    def name(self) -> str:
        return self.subject.name

    @property
    def kind(self) -> MapKind:
        return self.subject.kind

    @property
    def category(self) -> Category:
        return self.subject.category

    @property
    def unit(self) -> str:
        return self.subject.unit

    @property
    def decimals(self) -> int:
        return self.subject.decimals

    @property
    def by_hand(self) -> bool:
        """True when the values were typed in and not read from images."""
        return self.state_after.raw is None

    @property
    def before(self) -> Floats:
        return self.state_before.values

    @property
    def after(self) -> Floats:
        return self.state_after.values

    @property
    def axes_before(self) -> tuple[DeltaAxis, ...]:
        return self.state_before.axes

    @property
    def axes_after(self) -> tuple[DeltaAxis, ...]:
        return self.state_after.axes

    @property
    def axis_changed(self) -> bool:
        """True when a breakpoint of any axis moved, or the number of breakpoints changed."""
        return any(self.summary.axes_changed)

    @property
    def grid(self) -> Grid | None:
        """Before, after and change on common axes."""
        if self.moved_grid is not None:
            return self.moved_grid
        if self.summary.compared != "cell by cell":
            return None
        with np.errstate(all="ignore"):
            change = np.asarray(self.after - self.before)
        return Grid(self.axes_after, self.before, self.after, change, np.ones(change.shape, np.bool_))
