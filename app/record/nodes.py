"""A node of a revision tree by its short name in addresses: "stock-3" or "r12"."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.errors import BadInput, Conflict
from app.record import images, layouts, revisions, stocks, vehicles
from app.record.car_state import vehicle_label
from app.record.row_id import row_id
from app.record.tables import ControlUnit, Layout, Revision, Stock


@dataclass(frozen=True, slots=True)
class Node:
    """Stock or a revision, with how people call it."""

    key: str
    row: Revision | Stock
    unit: ControlUnit
    label: str
    vehicle: str


def node(session: Session, key: str) -> Node:
    """The node of that name; BadInput for a name that is none."""
    kind = next((kind for kind in ("stock-", "r") if key.startswith(kind)), "")
    number = row_id(key.removeprefix(kind))
    if not kind or number is None:
        raise BadInput(f"“{key[:20]}” names neither stock nor a revision; use stock-1 or r1.", field="from")
    row: Revision | Stock
    if kind == "stock-":
        row = stocks.stock(session, number)
        label = "Stock" if row.generation == 1 else f"Stock, generation {row.generation}"
    else:
        row = revisions.revision(session, number)
        label = f"Revision {row.number} “{row.title}”"
    unit = vehicles.control_unit(session, row.control_unit_id)
    return Node(key, row, unit, label, vehicle_label(vehicles.vehicle(session, unit.vehicle_id)))


def of_unit(session: Session, unit_id: int, *, by_hand: bool = False) -> list[tuple[str, str]]:
    """(key, label) of every node of a unit, stock first; of revisions entered by hand only when they are asked for."""
    found = [
        (f"stock-{s.id}", "Stock" if s.generation == 1 else f"Stock, generation {s.generation}")
        for s in stocks.generations(session, unit_id)
    ]
    rows = (row for row in revisions.of_unit(session, unit_id) if by_hand or row.sha256)
    found += [(f"r{r.id}", f"Revision {r.number} “{r.title}”" + ("" if r.sha256 else ", by hand")) for r in rows]
    return found


def image(session: Session, one: Node) -> Image:
    """The node's verified image; Conflict for a revision entered by hand."""
    if one.row.sha256 is None:
        raise Conflict(f"{one.label} was entered by hand and has no image to compare.")
    return images.load(session, one.row)


def layout(session: Session, one: Node) -> Layout | None:
    """The layout a node is read with: that of its latest analysis, its stock's, or one for the software number."""
    layout_id = one.row.layout_id if isinstance(one.row, Stock) else None
    if isinstance(one.row, Revision) and (found := revisions.analysis(session, one.row.id)) is not None:
        layout_id = found.layout_id
    if layout_id is not None:
        return layouts.versions(session, layouts.layout(session, layout_id).name)[0]
    matching = layouts.matching(session, software_number=one.unit.software_number, sha256=one.row.sha256)
    return matching[0] if matching else None
