"""Reading the maps of an image: one indexed read per data type, nothing per cell in Python."""

from collections.abc import Collection

from app.calc.calibration.decode_plan import Plan
from app.calc.calibration.encode import encode, write_cells
from app.calc.calibration.footprint import Footprints, footprints
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.calc.calibration.map_table import AxisTable, MapTable
from app.calc.calibration.placement import place

__all__ = [
    "AxisTable",
    "Footprints",
    "MapTable",
    "decode",
    "decode_axes",
    "encode",
    "footprints",
    "undecodable",
    "write_cells",
]


def decode(image: Image, layout: Layout, names: Collection[str] | None = None) -> dict[str, MapTable]:
    """All maps of `layout` that `image` holds, by name in layout order; only `names` when given.

    Maps outside the image, and maps whose stored counts are impossible, are left out: `undecodable` lists
    them.
    """
    placement = place(image, layout)
    if names is not None:
        wanted = sorted({layout.positions[name] for name in names if name in layout.positions})
        some = [placed for index in wanted if (placed := placement.by_index.get(index))]
        return Plan.of(some, [], placement).tables(image)[1]
    plan: Plan | None = placement.cache.get("plan")
    if plan is None:
        plan = placement.cache["plan"] = Plan.of(list(placement.maps), [], placement)
    return plan.tables(image)[1]


def decode_axes(image: Image, layout: Layout) -> dict[str, AxisTable]:
    """The shared breakpoint tables of `layout` that `image` holds, by name, with their own conversion."""
    placement = place(image, layout)
    tables = Plan.of([], list(placement.axes.values()), placement).tables(image)[0]
    return dict(zip(placement.axes, tables, strict=True))


def undecodable(image: Image, layout: Layout) -> tuple[tuple[str, str], ...]:
    """(name, reason) of every map of `layout` that cannot be read from `image`."""
    return place(image, layout).reasons
