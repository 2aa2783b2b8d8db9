"""Where the nodes of a revision tree stand: a row for each branch, a column for each generation."""

from collections.abc import Mapping, Sequence


def positions(parents: Mapping[int, int | None], order: Sequence[int]) -> dict[int, tuple[int, int]]:
    """Node → (column, row); the first child goes on in its parent's row, further ones open rows below.

    `parents` maps each node to its parent (None: stock at (0, 0)); `order` lists nodes, parents before children.

    >>> positions({1: None, 2: 1, 3: 1}, [1, 2, 3])
    {1: (1, 0), 2: (2, 0), 3: (2, 1)}
    """
    children: dict[int | None, list[int]] = {}
    for node in order:
        children.setdefault(parents[node], []).append(node)
    placed: dict[int, tuple[int, int]] = {}
    next_row = 0
    waiting: list[tuple[int | None, int, int]] = [(None, 0, 0)]
    while waiting:
        parent, column, row = waiting.pop()
        for number, child in enumerate(children.get(parent, [])):
            if number:
                next_row += 1
            placed[child] = (column + 1, row if number == 0 else next_row)
        waiting.extend((child, column + 1, placed[child][1]) for child in reversed(children.get(parent, [])))
    return {node: placed[node] for node in order if node in placed}
