"""How nodes of a revision tree are called on pages and in addresses."""

from app.record.tables import Revision, Stock


def key_of(node: Revision | Stock) -> str:
    """The node's short name in addresses."""
    return f"stock-{node.id}" if isinstance(node, Stock) else f"r{node.id}"


def label_of(node: Revision | Stock) -> str:
    """How people call a node of the tree."""
    if isinstance(node, Revision):
        return f"Revision {node.number} “{node.title}”"
    return "Stock" if node.generation == 1 else f"Stock, generation {node.generation}"


def page_of_node(node: Revision | Stock) -> str:
    """Where its page lies."""
    return f"/revisions/{node.id}" if isinstance(node, Revision) else f"/control-units/{node.control_unit_id}#stock"
