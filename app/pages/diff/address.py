"""The address of the diff view: it carries the whole state of the page, so that it can be kept and sent."""

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, urlencode

SORTS = (("order", "Category"), ("size", "Size of change"), ("name", "Name"))


@dataclass(frozen=True, slots=True)
class Address:
    """What is compared and what of it is looked at; empty values are left out of the address."""

    before: str
    after: str
    layout: int | None = None
    map: str = ""
    show: str = ""
    category: str = ""
    q: str = ""
    sort: str = ""
    ranges: int = 0

    def href(self, **changed: Any) -> str:
        """The address with some values changed."""
        return "/compare?" + replace(self, **changed).query

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
            "map": self.map,
        }
        return {name: value for name, value in given.items() if value}


def quoted(name: str) -> str:
    """A map's name as the last value of an address."""
    return quote(name, safe="")
