"""Every route × everybody: nobody reaches what the table does not allow, and each role reaches what it does.

OWASP ASVS 5.0.0, 8.2.1, 8.2.2 and 8.3.1.
"""

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from sqlalchemy import Engine, text

from app.main import create_app
from app.record import api_tokens, people
from app.record.engine import make_engine, reading, transaction
from app.settings import Settings
from tests.browser import Browser
from tests.web.routes import RIGHTS, SAMPLES

WHO = (None, "front_desk", "tuner", "manager")


def routes_of(app: FastAPI) -> list[str]:
    found = []
    for context in iter_route_contexts(app.routes):
        for method in sorted(context.methods or ()):
            if method not in ("HEAD", "OPTIONS"):
                found.append(f"{method} {context.path}")
    return found


ROUTES = routes_of(create_app(Settings(database_url=""), make_engine("sqlite://")))


def address_of(path: str) -> str:
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda match: SAMPLES.get(match[1], "1"), path)


@pytest.fixture
def tokens(app: FastAPI, sqlite_engine: Engine) -> dict[str | None, str]:
    """A token of the API for each role."""
    with transaction(sqlite_engine) as session:
        return {
            person.role: api_tokens.make(session, person_id=person.id, label="test", at=datetime.now(UTC))[1]
            for person in people.everyone(session)
        }


def ask(browser: Browser, route: str, token: str | None = None) -> tuple[int, str]:
    """Status and location of the answer; the API is asked with the token, pages with the browser's cookie."""
    method, path = route.split(" ", 1)
    if path.startswith("/api/"):
        browser.cookies.clear()
        headers = {} if token is None else {"authorization": f"Bearer {token}"}
        response = browser.request(method, address_of(path), headers=headers)
    elif method == "GET":
        response = browser.get(address_of(path))
    else:
        response = browser.submit(address_of(path))
    return response.status_code, response.headers.get("location", "")


def test_every_route_says_who_may_use_it() -> None:
    assert sorted(set(ROUTES) - set(RIGHTS)) == [], "add these to tests/web/routes.py"
    assert sorted(set(RIGHTS) - set(ROUTES)) == [], "these are gone: take them out of tests/web/routes.py"


@pytest.mark.parametrize("route", sorted(set(ROUTES) & set(RIGHTS)))
def test_a_route_answers_exactly_those_it_is_for(
    route: str, browser: Callable[[str | None], Browser], tokens: dict[str | None, str]
) -> None:
    path = route.split(" ", 1)[1]
    for who in WHO:
        status, location = ask(browser(who), route, tokens.get(who))
        to_sign_in = status == 303 and location.startswith("/sign-in") and not path.startswith(("/sign-", "/first"))
        if who in RIGHTS[route]:
            assert status < 500, f"{who}: {status}"
            assert status not in (401, 403) or path.startswith(("/sign-in", "/first-run")), f"{who}: {status}"
            assert not to_sign_in, f"{who} was sent to sign in"
        elif who is None:
            assert to_sign_in or (status == 401 and path.startswith("/api/")), f"anonymous: {status} {location}"
        else:
            assert status == 403, f"{who}: {status}"


@pytest.mark.parametrize(
    "route", [route for route in sorted(set(ROUTES)) if re.match("(POST|PATCH|PUT|DELETE) /api/", route)]
)
def test_a_browsers_cookie_does_not_write_through_the_api(route: str, manager: Browser) -> None:
    method, path = route.split(" ", 1)
    assert manager.request(method, address_of(path)).status_code == 401


def test_a_person_who_may_no_longer_sign_in_is_out_at_once(tuner: Browser, sqlite_engine: Engine) -> None:
    assert tuner.get("/journal").status_code == 200
    with transaction(sqlite_engine) as session:
        session.execute(text("update person set active = false where name = 'tuner'"))
    assert tuner.get("/journal").headers["location"] == "/sign-in?next=/journal"


def contents(engine: Engine) -> dict[str, list[tuple[object, ...]]]:
    with reading(engine) as session:
        tables = session.scalars(text("select name from sqlite_schema where type = 'table'")).all()
        return {name: [tuple(row) for row in session.execute(text(f'select * from "{name}"'))] for name in tables}


def test_looking_at_any_page_changes_nothing(
    browser: Callable[[str | None], Browser], tokens: dict[str | None, str], sqlite_engine: Engine
) -> None:
    manager = browser("manager")
    before = contents(sqlite_engine)
    for route in sorted(set(ROUTES), key=lambda route: "/api/" in route):
        if route.startswith("GET"):
            ask(manager, route, tokens["manager"])
    assert contents(sqlite_engine) == before


def test_pages_offer_nobody_what_is_refused_to_them(browser: Callable[[str | None], Browser]) -> None:
    for who in WHO[1:]:
        for route in ROUTES:
            if not route.startswith("GET") or who not in RIGHTS.get(route, frozenset()) or "/api/" in route:
                continue
            body = browser(who).get(address_of(route.split(" ", 1)[1])).text
            for address in set(re.findall(r'(?:href|action)="(/[^"?#]*)', body)):
                refused = {
                    target
                    for target, rights in RIGHTS.items()
                    if who not in rights and re.fullmatch(pattern_of(target.split(" ", 1)[1]), address)
                }
                allowed = [
                    t
                    for t, rights in RIGHTS.items()
                    if who in rights and re.fullmatch(pattern_of(t.split(" ", 1)[1]), address)
                ]
                assert not refused or allowed, f"{route} shows {who} {address}"


def pattern_of(path: str) -> str:
    parts = re.split(r"(\{\w+(?::\w+)?\})", path)
    return "".join(
        (r"\d+" if part.endswith(":int}") else r"[^/]+") if part.startswith("{") else re.escape(part) for part in parts
    )
