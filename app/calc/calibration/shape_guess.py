"""What kind of table could lie behind changed bytes that no definition explains? Ranked guesses for a person to name.

Two ideas are tried: breakpoints – strictly rising numbers – that end where the values begin, as control units often
store them (common practice, no source); and, without breakpoints, every data type and row length for the changed
stretch alone. Each guess is scored on how smooth the surface is before and after.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from app.calc.calibration.datatype import ByteOrder, DataType, Storage, storage
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Category, MapDefinition, MapKind
from app.calc.calibration.smoothness import rising_runs, smoothness
from app.errors import BadInput

_AXIS_TYPES: tuple[tuple[DataType, ByteOrder], ...] = (("uint16", "big"), ("uint16", "little"), ("uint8", "big"))
_VALUE_TYPES: tuple[tuple[DataType, ByteOrder], ...] = (
    ("uint8", "big"), ("int8", "big"), ("uint16", "big"), ("int16", "big"), ("uint16", "little"), ("int16", "little"),
    ("float32", "big"), ("float32", "little"),
)  # fmt: skip
_MOST_POINTS = 32
_FEWEST = (4, 3)
_TRIED = 600
_CONTEXT = 4096
_AXES_WORTH = 0.35
_COUNTS_WORTH = 0.25
_WASTE = 0.2
_FAR = 4.0


@dataclass(frozen=True, slots=True)
class AxisGuess:
    """Rising numbers that may be breakpoints."""

    address: int
    count: int
    data_type: DataType
    byte_order: ByteOrder


@dataclass(frozen=True, slots=True)
class ShapeGuess:
    """One guess. `score` only ranks guesses for one range; it is no probability."""

    address: int
    data_type: DataType
    byte_order: ByteOrder
    rows: int
    columns: int
    x_axis: AxisGuess | None
    y_axis: AxisGuess | None
    score: float

    @property
    def end(self) -> int:
        """First address after the values."""
        return self.address + self.rows * self.columns * storage(self.data_type).itemsize

    @property
    def sentence(self) -> str:
        """The guess in words."""
        order = "" if storage(self.data_type).itemsize == 1 else f", {self.byte_order} byte order"
        text = f"{self.rows} × {self.columns} cells of {self.data_type}{order} from 0x{self.address:X}"
        for axis, which in ((self.x_axis, "x"), (self.y_axis, "y")):
            if axis is not None:
                text += f", {axis.count} {which} breakpoints of {axis.data_type} at 0x{axis.address:X}"
        return text + "."

    def definition(self, name: str, category: Category = "other") -> MapDefinition:
        """The guess as a map definition, to be named, scaled and added to a layout."""
        axes = tuple(
            AxisDefinition(which, "stored", a.count, address=a.address, data_type=a.data_type, byte_order=a.byte_order)
            for which, a in (("x", self.x_axis), ("y", self.y_axis))
            if a is not None
        )
        kinds: tuple[MapKind, ...] = ("block", "curve", "map")
        kind = kinds[len(axes)] if axes or self.rows * self.columns > 1 else "value"
        size = {"block": (self.columns, self.rows) if self.rows > 1 else (self.columns,)}.get(kind, ())
        return MapDefinition(
            name,
            kind,
            self.address,
            category,
            axes=axes,
            data_type=self.data_type,
            byte_order=self.byte_order,
            size=size,
        )


def suggest_shape(before: bytes, after: bytes, address: int, *, most: int = 5) -> tuple[ShapeGuess, ...]:
    """The best `most` guesses, best first, for the bytes in which two equally long windows differ.

    `address` is that of the windows' first byte; what lies around the changed bytes is searched for breakpoints and
    for the rest of the table. BadInput when the windows differ in length or not at all.
    """
    if len(before) != len(after):
        raise BadInput(f"The two windows hold {len(before)} and {len(after)} bytes; they must be equally long.")
    changed = np.flatnonzero(np.frombuffer(before, np.uint8) != np.frombuffer(after, np.uint8))
    if not changed.size:
        raise BadInput("The two windows do not differ; there is nothing to guess.")
    search = _Search(before, after, address, int(changed[0]), int(changed[-1]) + 1)
    found: dict[tuple[int, DataType, ByteOrder, int, int], ShapeGuess] = {}
    for guess in (*search.with_axes(), *search.without_axes()):
        key = guess.address, guess.data_type, guess.byte_order, guess.rows, guess.columns
        if key not in found or found[key].score < guess.score:
            found[key] = guess
    return tuple(sorted(found.values(), key=lambda guess: (-guess.score, guess.address))[:most])


def suggest_shape_in(before: Image, after: Image, start: int, end: int, *, most: int = 5) -> tuple[ShapeGuess, ...]:
    """`suggest_shape` for the changed bytes in [start, end) with what lies around them in one segment."""
    segment = before.segment_at(start)
    other = after.segment_at(start)
    if segment is None or other is None or end > min(segment.end, other.end):
        raise BadInput(f"The images do not both hold 0x{start:X} to 0x{end - 1:X}.", where=f"address 0x{start:X}")
    low = max(segment.address, other.address, start - _CONTEXT)
    high = min(segment.end, other.end, end + _CONTEXT)
    old, new = before.read(low, high - low), after.read(low, high - low)
    own = new[start - low : end - low]
    return suggest_shape(old, old[: start - low] + own + old[end - low :], low, most=most)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Values that may begin at `start` after breakpoints; x has n points, y has m or is absent (1)."""

    worth: float
    start: int
    n: int
    m: int
    x: tuple[DataType, ByteOrder]
    y: tuple[DataType, ByteOrder] | None
    x_start: int
    y_start: int


class _Search:
    def __init__(self, before: bytes, after: bytes, address: int, low: int, high: int) -> None:
        self.before, self.after, self.address, self.low, self.high = before, after, address, low, high

    @cached_property
    def runs(self) -> dict[tuple[DataType, ByteOrder], list[int]]:
        """Rising runs by type, up to the changed bytes."""
        window = self.before[: self.low]
        return {t: rising_runs(window, storage(t[0]).dtype(t[1])).tolist() for t in _AXIS_TYPES}

    def with_axes(self) -> Iterator[ShapeGuess]:
        frames = sorted(self.frames(), key=lambda frame: (-frame.worth, -frame.start))[:_TRIED]
        for frame in frames:
            for data_type, byte_order in _VALUE_TYPES:
                if self.agrees(frame, data_type, byte_order):
                    end = frame.start + frame.n * frame.m * storage(data_type).itemsize
                    if self.high <= end <= len(self.before):
                        yield self.framed(frame, data_type, byte_order)

    def agrees(self, frame: _Frame, data_type: DataType, byte_order: ByteOrder) -> bool:
        """A control unit has one byte order."""
        axes = [frame.x] if frame.y is None else [frame.x, frame.y]
        orders = {order for kind, order in axes if storage(kind).itemsize > 1}
        if storage(data_type).itemsize > 1:
            orders.add(byte_order)
        return len(orders) < 2

    def frames(self) -> Iterator[_Frame]:
        fewest_x, fewest_y = _FEWEST
        for y in _AXIS_TYPES:
            size = storage(y[0]).itemsize
            for start in range(max(0, self.low - 4 * _MOST_POINTS**2), self.low + 1):
                run = self.runs[y][start]
                if run >= fewest_x:
                    yield from self.curves(start, run, y)
                for m in range(fewest_y, min(run, _MOST_POINTS) + 1):
                    yield from self.maps(start, m, run, y, start - m * size)

    def curves(self, start: int, run: int, x: tuple[DataType, ByteOrder]) -> Iterator[_Frame]:
        size = storage(x[0]).itemsize
        for n in range(_FEWEST[0], min(run, _MOST_POINTS) + 1):
            if start + 4 * n >= self.high:
                x_start = start - n * size
                worth = 0.4 * (n == run) + self.counted(x_start, n, 1)
                yield _Frame(worth, start, n, 1, x, None, x_start, start)

    def maps(self, start: int, m: int, run: int, y: tuple[DataType, ByteOrder], y_start: int) -> Iterator[_Frame]:
        for x in _AXIS_TYPES:
            if x[1] != y[1] and x[0] == y[0] == "uint16":
                continue
            size, x_run = storage(x[0]).itemsize, self.runs[x][y_start]
            for n in range(_FEWEST[0], min(x_run, _MOST_POINTS) + 1):
                if start + 4 * n * m >= self.high:
                    x_start = y_start - n * size
                    worth = 0.5 * (n == x_run) + 0.5 * (m == run) + self.counted(x_start, n, m)
                    yield _Frame(worth, start, n, m, x, y, x_start, y_start)

    def counted(self, x_start: int, n: int, m: int) -> float:
        """The numbers of points often stand right before the breakpoints."""
        counts = [n] if m == 1 else [n, m]
        for size in (1, 2):
            at = x_start - size * len(counts)
            for order in ("big", "little"):
                if at >= 0 and self.before[at:x_start] == b"".join(c.to_bytes(size, order) for c in counts):
                    return _COUNTS_WORTH * len(counts)
        return 0.0

    def framed(self, frame: _Frame, data_type: DataType, byte_order: ByteOrder) -> ShapeGuess:
        # Of two tables that could hold the change, the one that begins nearer to it does not run across the other.
        waste = 1 - (self.high - frame.start) / (frame.n * frame.m * storage(data_type).itemsize)
        far = (self.low - frame.start) / (4 * _MOST_POINTS**2)
        worth = _AXES_WORTH * frame.worth - _WASTE * waste - _FAR * far
        smooth = self.smooth(frame.start, data_type, byte_order, frame.m, frame.n)
        x = AxisGuess(self.address + frame.x_start, frame.n, *frame.x)
        y = AxisGuess(self.address + frame.y_start, frame.m, *frame.y) if frame.y else None
        at = self.address + frame.start
        return ShapeGuess(at, data_type, byte_order, frame.m, frame.n, x, y, smooth + worth)

    def without_axes(self) -> Iterator[ShapeGuess]:
        for data_type, byte_order in _VALUE_TYPES:
            size = storage(data_type).itemsize
            start = self.low - (self.address + self.low) % size
            count = -(-(self.high - start) // size)
            if start < 0 or start + count * size > len(self.before):
                continue
            for columns in range(1, min(count, _MOST_POINTS) + 1):
                rows = -(-count // columns)
                if (columns == 1 and count > 1) or start + rows * columns * size > len(self.before):
                    continue
                filled = count / (rows * columns)
                score = self.smooth(start, data_type, byte_order, rows, columns) * filled
                at = self.address + start
                yield ShapeGuess(at, data_type, byte_order, rows, columns, None, None, score)

    def smooth(self, start: int, data_type: DataType, byte_order: ByteOrder, rows: int, columns: int) -> float:
        """Mean smoothness before and after; a table of few cells proves little."""
        store: Storage = storage(data_type)
        found = 0.0
        with np.errstate(invalid="ignore"):
            for window in (self.before, self.after):
                cells = np.frombuffer(window, store.dtype(byte_order), rows * columns, start)
                found += smoothness(cells.astype(np.float64).reshape(rows, columns)) / 2
        return float(found * (1 - 1 / (1 + rows * columns) ** 0.5))
