"""No page of the demo offers a person a link or a form that the program would refuse to that person."""

from urllib.parse import urlsplit

import pytest

from tests.journeys.crawl import crawl, routes_of, signed_in
from tests.journeys.demo import PEOPLE
from tests.served import PASSWORD, Served
from tests.web.routes import RIGHTS


@pytest.mark.parametrize("role", ["front_desk", "tuner"])
def test_nobody_is_offered_what_is_refused(demo_server: Served, role: str) -> None:
    with signed_in(demo_server.base, PEOPLE[role], PASSWORD) as client:
        reached = crawl(client)
    assert len(reached.pages) > 20
    refused = {}
    for page, targets in reached.offers.items():
        for target in targets:
            path = urlsplit(target).path
            routes = routes_of(path, "GET") + routes_of(path, "POST")
            if routes and not any(role in RIGHTS[route] for route in routes):
                refused.setdefault(page, set()).add(path)
    assert refused == {}
