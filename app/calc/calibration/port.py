"""Taking a recorded set of changes over to another base image, by map name and physical value.

The other base may have other breakpoints, other conversions, other units of the same quantity, other addresses. The
result is computed and nothing more: nobody has driven a vehicle with it, and the report says so.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.checksum import evaluate, recompute
from app.calc.calibration.decode import decode, encode, undecodable, write_cells
from app.calc.calibration.encode import stored_differs
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.calc.calibration.map_delta import MapDelta
from app.calc.calibration.map_table import AxisTable, MapTable
from app.calc.calibration.port_axes import SharedAxis, shared_axes
from app.calc.calibration.port_surface import Surface, surface_at
from app.calc.number_text import counted
from app.errors import BadInput

Mode = Literal["absolute", "relative", "percent"]
Outcome = Literal["ported", "missing", "refused"]
Bools = NDArray[np.bool_]

MODES: tuple[Mode, ...] = get_args(Mode)


@dataclass(frozen=True, slots=True)
class PortedMap:
    """What became of one map, in the target's unit.

    written : cells whose stored number changes. unknown : cells the change says nothing about, left alone.
    saturated : cells held at the limit of what they can store. largest_rounding, mean_rounding : size of the
    difference between wanted and storable, over written cells that are not saturated.
    outside : cells beyond the source's breakpoints, where its end value was used.
    base_differs : cells in which this base is not what the change started from. largest_base_difference : the largest
    of these differences that is finite.
    converted_from : the source's unit when it was converted. axes_written : axes that got the source's breakpoints.
    """

    name: str
    outcome: Outcome
    reason: str = ""
    unit: str = ""
    cells: int = 0
    written: int = 0
    unknown: int = 0
    saturated: int = 0
    largest_rounding: float | None = None
    mean_rounding: float | None = None
    outside: int = 0
    base_differs: int = 0
    largest_base_difference: float | None = None
    converted_from: str = ""
    axes_written: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PortReport:
    """One entry per change asked for, in its order.

    checksums_recomputed : block checksums that were made to hold again. checksums_left : those that did not hold, or
    could not be computed, in the base already and were not touched. shared_axes : breakpoints that were written and
    that further maps, whose values stay, are read at too.
    """

    mode: Mode
    maps: tuple[PortedMap, ...]
    checksums_recomputed: tuple[str, ...] = ()
    checksums_left: tuple[str, ...] = ()
    shared_axes: tuple[SharedAxis, ...] = ()
    computed_not_validated: bool = True

    @property
    def sentence(self) -> str:
        """Everything in one sentence."""
        ported = sum(one.outcome == "ported" for one in self.maps)
        saturated = sum(one.saturated for one in self.maps)
        parts = [f"{ported} of {counted(len(self.maps), 'map')} ported"]
        if saturated:
            parts.append(f"{counted(saturated, 'cell')} at the limit")
        others = len({name for shared in self.shared_axes for name in shared.also_read_by})
        if others:
            parts.append(
                f"{counted(others, 'further map is', 'further maps are')} read at breakpoints that were written"
            )
        if self.checksums_recomputed:
            count = len(self.checksums_recomputed)
            parts.append(f"{counted(count, 'block checksum')} recomputed")
        return f"{', '.join(parts)}; computed, not validated on a vehicle."

    def to_json(self) -> dict[str, Any]:
        """Plain values for the record and the API."""
        plain: dict[str, Any] = _lists(asdict(self))
        return plain | {"sentence": self.sentence}


def _lists(plain: Any) -> Any:
    """The same values with lists in place of tuples, as they come back from JSON."""
    if isinstance(plain, dict):
        return {name: _lists(value) for name, value in plain.items()}
    return [_lists(value) for value in plain] if isinstance(plain, (list, tuple)) else plain


@dataclass(frozen=True, slots=True)
class Port:
    """The resulting image and the report about it."""

    image: Image
    report: PortReport


def port(deltas: Sequence[MapDelta], target: Image, layout: Layout, mode: Mode = "relative") -> Port:
    """Change `target`, read by its own `layout`, as `deltas` changed another image.

    mode "absolute" : the changed cells get the source's values after the change. "relative" : the source's difference
    is added. "percent" : the target's values change by the source's percentage.

    Cells that the source left alone stay as the target has them. Where the target lies on the same breakpoints the
    change goes cell by cell, moved breakpoints with it; elsewhere the change is read, as a function, at the target's
    breakpoints. A cell that holds the very number the source started from gets the very number it ended with.
    """
    if mode not in MODES:
        raise BadInput(f"{mode!r} is no way to port; choose one of {', '.join(MODES)}.", field="mode")
    tables = decode(target, layout, {delta.name for delta in deltas})
    reasons = dict(undecodable(target, layout))
    image, maps = target, []
    written: dict[str, list[AxisTable]] = {}
    for delta in deltas:
        table = tables.get(delta.name)
        if table is None:
            reason = reasons.get(delta.name, "The layout of the target has no map of this name.")
            maps.append(PortedMap(delta.name, "missing", reason))
            continue
        try:
            image, ported, written[delta.name] = _ported(image, delta, table, mode)
        except BadInput as refusal:
            ported = PortedMap(delta.name, "refused", refusal.sentence, table.unit)
        maps.append(ported)
    image, recomputed, left = _checksums(target, image, layout)
    return Port(image, PortReport(mode, tuple(maps), recomputed, left, shared_axes(target, layout, written)))


def _ported(image: Image, delta: MapDelta, table: MapTable, mode: Mode) -> tuple[Image, PortedMap, list[AxisTable]]:
    """The image with the map written, what became of the map, and the axes that were written with it."""
    if delta.kind == "text" or table.kind == "text":
        return *_ported_text(image, delta, table), []
    surface = surface_at(delta, table)
    axes = [(axis, surface.new_axes[k]) for k, axis in enumerate(table.axes) if k in surface.new_axes]
    for axis, points in axes:
        image = _write_axis(image, axis, points)
    # Switches and other named states have no difference or percentage.
    wanted, known = _wanted(surface, table, "absolute" if table.definition.scaling.texts else mode)
    raw, saturated = _stored(surface, table, wanted, known)
    stored = table.definition.scaling.to_physical(raw)
    measured = known & ~saturated & np.isfinite(stored) & np.isfinite(wanted)
    with np.errstate(all="ignore"):  # float cells may hold any bits
        error = np.abs(stored[measured] - wanted[measured])
        distance = np.abs(table.physical - surface.before)
    different = surface.base_differs(table)
    apart = distance[different & np.isfinite(distance)]
    report = PortedMap(
        delta.name,
        "ported",
        "",
        table.unit,
        int(raw.size),
        int(np.count_nonzero(stored_differs(table.raw, raw))),
        int(np.count_nonzero(surface.changed & ~known) + np.count_nonzero(surface.unknown)),
        int(np.count_nonzero(saturated)),
        float(error.max()) if error.size else None,
        float(error.mean()) if error.size else None,
        surface.outside,
        int(np.count_nonzero(different)),
        float(apart.max()) if apart.size else None,
        delta.unit if delta.unit != table.unit and not surface.entered else "",
        tuple(axis.name for axis, _ in axes),
    )
    return write_cells(image, table, raw), report, [axis for axis, _ in axes]


def _stored(surface: Surface, table: MapTable, wanted: NDArray[np.float64], known: Bools) -> tuple[NDArray[Any], Bools]:
    """Stored numbers of all cells, and which of them are held at a limit."""
    raw, saturated = table.raw, np.zeros(known.shape, np.bool_)
    converted = known & ~surface.as_stored
    if converted.any():
        encoded, at_limit = encode(table, np.where(converted, wanted, table.physical))
        raw, saturated = np.where(converted, encoded, raw), at_limit & converted
    if surface.raw_after is not None:
        raw = np.where(surface.as_stored, surface.raw_after, raw)
    return raw, saturated


def _wanted(surface: Surface, table: MapTable, mode: Mode) -> tuple[NDArray[np.float64], Bools]:
    """Physical values to reach, and where they are known."""
    here = table.physical
    with np.errstate(all="ignore"):
        if surface.entered == "percent":
            wanted = here * (1 + surface.change / 100)
        elif surface.entered == "change" or mode == "relative":
            wanted = here + surface.change
        elif mode == "percent":
            wanted = np.where(surface.before == 0, np.nan, here * (surface.after / surface.before))
        else:
            wanted = surface.after
    if surface.entered and mode == "absolute":
        raise BadInput("Only the change of this map was written down; it can be added, not set.")
    wanted = np.where(surface.as_stored, surface.after, wanted)
    return wanted, surface.changed & (np.isfinite(wanted) | surface.as_stored)


def _write_axis(image: Image, axis: AxisTable, points: NDArray[np.float64]) -> Image:
    raw, saturated = encode(axis, points)
    if saturated.any():
        raise BadInput(f"The breakpoints of {axis.name!r} do not fit what the target can store.")
    return write_cells(image, axis, raw)


def _ported_text(image: Image, delta: MapDelta, table: MapTable) -> tuple[Image, PortedMap]:
    before, after = delta.state_before.raw, delta.state_after.raw
    if delta.kind != table.kind or before is None or after is None or before.shape != table.raw.shape:
        raise BadInput("A text can be ported only to a text of the same length.")
    different = before != table.raw
    if different.any():
        raise BadInput(f"The text of the target is {table.text!r}, not what the change started from.")
    report = PortedMap(delta.name, "ported", "", table.unit, table.raw.size, int(np.count_nonzero(after != table.raw)))
    return write_cells(image, table, after), report


def _checksums(before: Image, image: Image, layout: Layout) -> tuple[Image, tuple[str, ...], tuple[str, ...]]:
    """Make every block checksum hold that held before. One may lie inside another's range: repeat until all do."""
    kept = [c for c in layout.checksums_in_image if evaluate(before, c).state == "holds"]
    left = tuple(c.name for c in layout.checksums_in_image if c not in kept)
    recomputed: list[str] = []
    for _ in kept:
        broken = [c for c in kept if evaluate(image, c).state != "holds"]
        for definition in broken:
            image = recompute(image, definition)
            if definition.name not in recomputed:
                recomputed.append(definition.name)
    return image, tuple(recomputed), left
