"""Any two nodes of revision trees against each other, under one layout."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta import compare
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout as Definitions
from app.record import layouts, nodes, revisions, warning_rules
from app.record.nodes import Node
from app.record.tables import Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two nodes, the layout version their maps were read with (None: none suits), and what changed.

    not_known : where one of them was entered by hand, what nobody can say and what of the notes does not fit.
    """

    before: Node
    after: Node
    layout: Layout | None
    comparison: Comparison
    not_known: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedImages(Compared):
    """Two nodes of which there are images."""

    definitions: Definitions | None
    image_before: Image
    image_after: Image


def of_nodes(session: Session, before: str, after: str, *, layout_id: int | None = None) -> ComparedImages:
    """Compare two nodes by their short names; `layout_id` None takes the layout that the first is read with.

    Raises BadInput for a name that is none, NotFound for a node or layout that does not exist, Conflict for a
    revision entered by hand, which has no image.
    """
    return of_images(session, nodes.node(session, before), nodes.node(session, after), layout_id=layout_id)


def of_images(session: Session, first: Node, second: Node, *, layout_id: int | None = None) -> ComparedImages:
    """The same for two nodes that were looked up already."""
    row = layouts.layout(session, layout_id) if layout_id is not None else suitable_layout(session, first, second)
    definitions = layouts.definitions(session, row)
    old, new = nodes.image(session, first), nodes.image(session, second)
    found = compare(old, new, definitions)
    comparison = warning_rules.warned(session, found, definitions, lambda: revisions.stock_image(session, second.row))
    return ComparedImages(
        before=first,
        after=second,
        layout=row,
        comparison=comparison,
        definitions=definitions,
        image_before=old,
        image_after=new,
    )


def suitable_layout(session: Session, first: Node, second: Node) -> Layout | None:
    """The layout of the node compared from, else that of the other."""
    return nodes.layout(session, first) or nodes.layout(session, second)
