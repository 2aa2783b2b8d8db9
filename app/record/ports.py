"""Taking what a revision changed over to another base image: what is taken, and onto what."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout as Definitions
from app.calc.calibration.map_delta import MapDelta
from app.calc.calibration.port import MODES, Mode, Port, port
from app.errors import BadInput, Conflict
from app.record import analyses, layouts, nodes, noted, revisions, stocks
from app.record.nodes import Node
from app.record.tables import ControlUnit, Layout, Revision, Stock

SINCE = ("parent", "stock")
MOST_UNITS = 200


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for. `since`: the changes since "parent" or since "stock". `maps` None takes all of them.

    `target` is the short name of the node whose image is changed.
    """

    revision_id: int
    target: str
    since: str = "parent"
    mode: str = "relative"
    maps: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class Computed:
    """The port as computed: nothing of it is on record yet."""

    source: Revision
    target: Node
    layout: Layout
    definitions: Definitions
    base: Image
    deltas: tuple[MapDelta, ...]
    result: Port


def compute(session: Session, wanted: Wanted) -> Computed:
    """Compute a port.

    BadInput for a choice that is none, Conflict when the target has no image or no layout, or the revision has no
    named map changed.
    """
    mode = next((one for one in MODES if one == wanted.mode), None)
    if mode is None:
        raise BadInput(f"Choose one of {', '.join(MODES)}.", field="mode")
    source = revisions.revision(session, wanted.revision_id)
    target = nodes.node(session, wanted.target)
    base = nodes.image(session, target)
    layout = nodes.layout(session, target)
    if layout is None:
        raise Conflict(
            f"No layout is known for {target.label} of {target.vehicle}; maps are ported by their names, so add one.",
            field="target",
        )
    every = changed_maps(session, source, wanted.since)
    chosen = _chosen(every, wanted.maps)
    definitions = layouts.require(session, layout)
    return Computed(source, target, layout, definitions, base, chosen, _ported(chosen, base, definitions, mode))


def _ported(deltas: tuple[MapDelta, ...], base: Image, definitions: Definitions, mode: Mode) -> Port:
    if not deltas:
        raise Conflict("There is no named map to port; name the changed ranges first, or choose at least one map.")
    return port(deltas, base, definitions, mode)


def _chosen(every: tuple[MapDelta, ...], maps: Collection[str] | None) -> tuple[MapDelta, ...]:
    return every if maps is None else tuple(delta for delta in every if delta.name in maps)


def changed_maps(session: Session, source: Revision, since: str) -> tuple[MapDelta, ...]:
    """The changed maps of a revision since its parent or since stock."""
    if since not in SINCE:
        raise BadInput("Choose the changes since the parent or since stock.", field="since")
    if source.kind == "by hand" and since == "parent":
        analysis = revisions.analysis(session, source.id)
        return () if analysis is None else tuple(analyses.deltas_of(session, analysis.id))
    stock = revisions.stock_of(session, source)
    base = revisions.base_of(session, source) if since == "parent" else stock
    if base is None:
        raise Conflict("No stock of this revision is on record; there is nothing to compare it with.")
    key = f"stock-{base.id}" if isinstance(base, Stock) else f"r{base.id}"
    return noted.of_any_nodes(session, key, f"r{source.id}").comparison.deltas


def targets(session: Session, source: Revision) -> list[Node]:
    """Where a revision could be ported to: nodes of its own unit, then stock of units with the same role."""
    own = [nodes.node(session, key) for key, _ in nodes.of_unit(session, source.control_unit_id)]
    unit = own[0].unit if own else session.get_one(ControlUnit, source.control_unit_id)
    others = session.scalars(
        select(ControlUnit)
        .where(ControlUnit.role == unit.role, ControlUnit.id != unit.id)
        .order_by(ControlUnit.software_number != unit.software_number, ControlUnit.id.desc())
        .limit(MOST_UNITS)
    ).all()
    current = stocks.current_of(session, [one.id for one in others])
    found = [nodes.node(session, f"stock-{current[one.id].id}") for one in others if one.id in current]
    return [one for one in own if one.key != f"r{source.id}"] + found
