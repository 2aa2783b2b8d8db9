"""The address of the diff view: it carries the whole state of the page, so that it can be kept and sent."""

import re
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, urlencode

_CELL = re.compile(r"([1-9][0-9]{0,3})-([1-9][0-9]{0,3})")
SORTS = (("order", "Category"), ("size", "Size of change"), ("name", "Name"))


@dataclass(frozen=True, slots=True)
class Address:
    """What is compared and what of it is looked at; empty values are left out of the address.

    cell : the pointed cell of the map as row-column, counted from 1.
    """

    before: str
    after: str
    layout: int | None = None
    map: str = ""
    show: str = ""
    category: str = ""
    q: str = ""
    sort: str = ""
    ranges: int = 0
    cell: str = ""

    def href(self, **changed: Any) -> str:
        """The address with some values changed; a cell is one of its map alone."""
        if "map" in changed:
            changed = {"cell": ""} | changed
        return "/compare?" + replace(self, **changed).query

    @property
    def point(self) -> tuple[int, int] | None:
        """Row and column of the pointed cell, counted from 0; None for no cell."""
        found = _CELL.fullmatch(self.cell)
        return None if found is None else (int(found[1]) - 1, int(found[2]) - 1)

    @property
    def query(self) -> str:
        return urlencode(self._given())

    def subject_query(self, **further: Any) -> str:
        """Only what is compared, for downloads and forms."""
        given = {"from": self.before, "to": self.after, "layout": self.layout} | further
        return urlencode({name: value for name, value in given.items() if value not in (None, "")})

    def map_prefix(self) -> str:
        """Everything up to the map's name, which follows percent-encoded, so that long lists are written fast."""
        return self.href(map="") + "&map="

    def _given(self) -> dict[str, Any]:
        given = {
            "from": self.before,
            "to": self.after,
            "layout": self.layout,
            "show": self.show if self.show != "change" else "",
            "category": self.category,
            "q": self.q,
            "sort": self.sort if self.sort != "order" else "",
            "ranges": self.ranges,
            "cell": self.cell,
            "map": self.map,
        }
        return {name: value for name, value in given.items() if value}


def quoted(name: str) -> str:
    """A map's name as the last value of an address."""
    return quote(name, safe="")
