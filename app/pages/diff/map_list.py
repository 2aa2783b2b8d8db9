"""The list of changed maps: filtered, sorted, by category, each with the size and direction of its change."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.calibration.layout import CATEGORIES
from app.calc.calibration.map_delta import MapDelta
from app.calc.number_text import with_unit
from app.pages.diff.address import Address, quoted
from app.pages.diff.words import number

# Shape and words, since a colour alone says nothing: the first three are arrows.
DIRECTIONS = {
    "raised": ("▲", "raised"),
    "lowered": ("▼", "lowered"),
    "both": ("◆", "raised and lowered"),
    "other": ("●", "changed"),
}


@dataclass(frozen=True, slots=True)
class ListItem:
    """One changed map in the list."""

    name: str
    href: str
    category: str
    sign: str
    direction: str
    size: str
    cells: str
    current: bool


@dataclass(frozen=True, slots=True)
class ListGroup:
    """The maps of one category, or all under no title."""

    title: str
    maps: tuple[ListItem, ...]


def chosen(deltas: Sequence[MapDelta], address: Address) -> list[MapDelta]:
    """The maps that the filters leave, in the order wanted."""
    words = address.q.casefold().split()
    found = [
        delta
        for delta in deltas
        if (not address.category or delta.category == address.category)
        and all(word in delta.name.casefold() for word in words)
    ]
    if address.sort == "name":
        return sorted(found, key=lambda delta: delta.name.casefold())
    if address.sort == "size":
        return sorted(found, key=relative_size, reverse=True)
    places = {category: place for place, category in enumerate(CATEGORIES)}
    return sorted(found, key=lambda delta: places[delta.category])


def relative_size(delta: MapDelta) -> float:
    """The largest change as a share of the largest value before, so that maps of different units compare.

    Texts and maps without common points come first: their size is not known.
    """
    largest = delta.summary.largest
    if largest is None:
        return math.inf
    with np.errstate(all="ignore"):
        values = np.abs(delta.before[np.isfinite(delta.before)])
    scale = float(values.max()) if values.size else 0.0
    return abs(largest.change) / scale if scale else math.inf


def direction(delta: MapDelta) -> str:
    """Which way the map went: a key of DIRECTIONS."""
    low, high = delta.summary.minimum, delta.summary.maximum
    if low is None or high is None or low == high == 0:
        return "other"
    if low >= 0:
        return "raised"
    return "lowered" if high <= 0 else "both"


def groups(deltas: Sequence[MapDelta], address: Address, current: str) -> tuple[ListGroup, ...]:
    """The chosen maps for the page: a group per category in the layout's order, one group in any other order."""
    prefix = address.map_prefix()
    items = [_item(delta, prefix, current) for delta in deltas]
    if address.sort not in ("", "order"):
        return (ListGroup("", tuple(items)),) if items else ()
    found: dict[str, list[ListItem]] = {}
    for item in items:
        found.setdefault(item.category, []).append(item)
    return tuple(ListGroup(category.capitalize(), tuple(rows)) for category, rows in found.items())


def _item(delta: MapDelta, prefix: str, current: str) -> ListItem:
    sign, words = DIRECTIONS[direction(delta)]
    summary, largest = delta.summary, delta.summary.largest
    size = summary.in_a_word
    if largest is not None:
        size = with_unit(number(largest.change, delta.decimals, sign=True), delta.unit)
        if largest.percent is not None:
            size += f" ({number(largest.percent, 1, sign=True)} %)"
    return ListItem(
        name=delta.name,
        href=prefix + quoted(delta.name),
        category=delta.category,
        sign=sign,
        direction=words,
        size=size,
        cells="" if summary.cells <= 1 else f"{summary.changed} of {summary.cells} cells",
        current=delta.name == current,
    )


def counts(deltas: Sequence[MapDelta]) -> dict[str, int]:
    """Category → changed maps, in the order of the categories, none left out that has one."""
    found = {category: sum(delta.category == category for delta in deltas) for category in CATEGORIES}
    return {category: count for category, count in found.items() if count}
