"""Two nodes of which the later one was entered by hand: images as far as there are any, then notes."""

from sqlalchemy.orm import Session

from app.calc.calibration.decode import decode
from app.calc.calibration.layout import Layout as Definitions
from app.calc.calibration.manual_delta import comparison_by_hand
from app.calc.calibration.map_delta import MapDelta
from app.calc.calibration.map_table import MapTable
from app.calc.calibration.noted_changes import known_changes
from app.errors import Conflict
from app.record import analyses, comparisons, layouts, nodes, revisions, warning_rules
from app.record.comparisons import Compared
from app.record.nodes import Node
from app.record.tables import Layout, Revision, Stock

NOT_KNOWN = (
    "Maps that nobody noted, other bytes, and whether the block checksums hold: there is no image to read them from.",
)


def of_any_nodes(session: Session, before: str, after: str, *, layout_id: int | None = None) -> Compared:
    """Compare two nodes by their short names, of which either may have been entered by hand.

    Raises what `comparisons.of_nodes` raises; Conflict for a revision entered by hand that does not descend from the
    other node by notes alone: then nobody can say how the two differ.
    """
    first, second = nodes.node(session, before), nodes.node(session, after)
    if first.row.sha256 is not None and second.row.sha256 is not None:
        return comparisons.of_images(session, first, second, layout_id=layout_id)
    way = _way(session, first, second)
    images = [place for place, row in enumerate(way) if row.sha256 is not None]
    last = images[-1] if images else -1  # the last node with an image on the way; -1 for none
    if not way or last == len(way) - 1 or (first.row.sha256 is None and images):
        raise _refused(first, second)
    base = first if last < 0 else nodes.node(session, f"r{way[last].id}")
    row = layouts.layout(session, layout_id) if layout_id is not None else nodes.layout(session, base)
    notes = [note for one in way[last + 1 :] for note in _notes(session, one)]
    shown = () if base is first else comparisons.of_images(session, first, base, layout_id=layout_id).comparison.deltas
    known = known_changes(shown, _tables(session, base, row, notes), notes)
    definitions = layouts.definitions(session, row)
    comparison = warning_rules.warned(
        session, comparison_by_hand(known.deltas), definitions, lambda: revisions.stock_image(session, second.row)
    )
    not_known = (*NOT_KNOWN, *known.findings, *_nameless(row, definitions, notes))
    return Compared(before=first, after=second, layout=row, comparison=comparison, not_known=not_known)


def _nameless(layout: Layout | None, definitions: Definitions | None, notes: list[MapDelta]) -> list[str]:
    """Notes about maps that the layout does not have."""
    if layout is None or definitions is None:
        return []
    names = dict.fromkeys(note.name for note in notes if note.name not in definitions.positions)
    return [f"{name}: {layout.name} v{layout.version} has no map of this name; it stands as noted." for name in names]


def _refused(first: Node, second: Node) -> Conflict:
    by_hand = first if first.row.sha256 is None else second
    return Conflict(
        f"{by_hand.label} was entered by hand and has no image: it can be compared only with what it was made from, "
        "the older of the two first."
    )


def _way(session: Session, first: Node, second: Node) -> list[Revision]:
    """The revisions after `first` up to and with `second`; empty when `second` does not descend from `first`."""
    if isinstance(second.row, Stock):
        return []
    line = list(reversed(revisions.lineage(session, second.row)))
    if isinstance(first.row, Stock):
        return line if second.row.stock_id == first.row.id else []
    ids = [one.id for one in line]
    return line[ids.index(first.row.id) + 1 :] if first.row.id in ids else []


def _notes(session: Session, row: Revision) -> list[MapDelta]:
    found = revisions.analysis(session, row.id)
    return [] if found is None else analyses.deltas_of(session, found.id)


def _tables(session: Session, base: Node, layout: Layout | None, notes: list[MapDelta]) -> dict[str, MapTable]:
    """The maps that notes are about, in the image that they were made on top of."""
    definitions = layouts.definitions(session, layout)
    if definitions is None or base.row.sha256 is None:
        return {}
    return decode(nodes.image(session, base), definitions, {note.name for note in notes})
