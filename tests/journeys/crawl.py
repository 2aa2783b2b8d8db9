"""Every page that a person can reach from Today by following links, one address for each route."""

import html
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from urllib.parse import urlsplit

import httpx2

from tests.web.routes import RIGHTS

_TARGET = re.compile(r'(?:href|action)="(/[^"]*)"')
_WORD = re.compile(r"(\{\w+(?::\w+)?\})")


@dataclass
class Reached:
    """Route → an address of it; address → the addresses its page links or posts to."""

    pages: dict[str, str] = field(default_factory=dict)
    offers: dict[str, set[str]] = field(default_factory=dict)


def pattern_of(path: str) -> re.Pattern[str]:
    parts = (
        (r"\d+" if part.endswith(":int}") else ".+" if part.endswith(":path}") else r"[^/]+")
        if part.startswith("{")
        else re.escape(part)
        for part in _WORD.split(path)
    )
    return re.compile("".join(parts))


ROUTES = {route: pattern_of(route.split(" ", 1)[1]) for route in RIGHTS}


def routes_of(path: str, method: str) -> list[str]:
    """The routes that an address may mean, those without words in their path first."""
    found = [route for route, pattern in ROUTES.items() if route.startswith(f"{method} ") and pattern.fullmatch(path)]
    return sorted(found, key=lambda route: route.count("{"))


@contextmanager
def signed_in(base: str, name: str, password: str) -> Iterator[httpx2.Client]:
    """A client that signed in through the page."""
    with httpx2.Client(base_url=base, headers={"Origin": base}, timeout=60) as client:
        assert client.post("/sign-in", data={"name": name, "password": password, "next": "/"}).status_code == 303
        yield client


def crawl(client: httpx2.Client) -> Reached:
    """Breadth first from Today; a route's first page stands for all of its pages."""
    reached = Reached()
    waiting = ["/"]
    while waiting:
        address = waiting.pop(0)
        route = next(iter(routes_of(urlsplit(address).path, "GET")), None)
        if route is None or route in reached.pages or route.startswith(("GET /static", "GET /api")):
            continue
        with client.stream("GET", address) as answer:
            if answer.status_code != 200 or not answer.headers["content-type"].startswith("text/html"):
                continue
            body = answer.read().decode()
        reached.pages[route] = address
        targets = {html.unescape(found) for found in _TARGET.findall(body)}
        reached.offers[address] = targets
        waiting += sorted(one.partition("#")[0] for one in targets)
    return reached
