"""Maps of the target that a port leaves at other breakpoints than before, because they share an axis that it writes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.calc.calibration.map_table import AxisTable
from app.calc.calibration.placement import PlacedMap, place

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class SharedAxis:
    """Breakpoints that were written, the ported maps they were written for, and all other maps that are read at them.

    The values of `also_read_by` stay, so that each of these maps gives other values between the breakpoints than it
    did: a person decides whether that is wanted.
    """

    axis: str
    written_for: tuple[str, ...]
    also_read_by: tuple[str, ...]


def shared_axes(target: Image, layout: Layout, written: Mapping[str, Sequence[AxisTable]]) -> tuple[SharedAxis, ...]:
    """What the breakpoints `written`, by the map they were written for, mean for other maps; empty when nothing."""
    axes: dict[Span, str] = {}
    fitted: dict[Span, list[str]] = {}
    for name, tables in written.items():
        for table in tables:
            span = _span(table)
            axes.setdefault(span, table.name)
            fitted.setdefault(span, []).append(name)
    maps = place(target, layout).maps if axes else ()
    found = []
    for span, axis in axes.items():
        others = tuple(m.definition.name for m in maps if _reads(m, span) and m.definition.name not in fitted[span])
        if others:
            found.append(SharedAxis(axis, tuple(fitted[span]), others))
    return tuple(found)


def _span(table: AxisTable) -> Span:
    assert table.addresses is not None  # a written axis is stored
    return int(table.addresses.min()), int(table.addresses.max()) + table.itemsize


def _reads(placed: PlacedMap, span: Span) -> bool:
    """Whether any of the map's axes lies on these bytes."""
    hulls = (axis.cells.hull for axis in placed.axes if axis.cells is not None)
    return any(low < span[1] and span[0] < high for low, high in hulls)
