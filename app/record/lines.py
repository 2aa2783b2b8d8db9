"""The images along a line of revisions, and over a whole tree, for looking at who changed what."""

from collections.abc import Iterator

from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.record import images, revisions
from app.record.tables import Revision, Stock

Node = Revision | Stock


def line_to(session: Session, row: Revision) -> list[Node]:
    """Stock, where it is on record, and every revision on the way to this one, the root first."""
    way: list[Node] = list(reversed(revisions.lineage(session, row)))
    stock = revisions.stock_of(session, row)
    return way if stock is None else [stock, *way]


def tree_around(session: Session, row: Revision) -> list[tuple[Node, Node | None]]:
    """(node, parent) of every node that descends from the same stock, parents first."""
    stock = revisions.stock_of(session, row)
    known: dict[int, Revision] = {}
    tree: list[tuple[Node, Node | None]] = [] if stock is None else [(stock, None)]
    for one in revisions.of_unit(session, row.control_unit_id):
        if one.stock_id == row.stock_id:
            parent = stock if one.parent_id is None else known.get(one.parent_id)
            known[one.id] = one
            tree.append((one, parent))
    return tree


def images_of(session: Session, nodes: list[Node]) -> Iterator[Image | None]:
    """One image after the other, so that only one is held; None for a revision entered by hand."""
    for node in nodes:
        yield None if node.sha256 is None else images.load(session, node)
