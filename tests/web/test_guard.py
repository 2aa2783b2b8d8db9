"""Which requests are let in, and the headers on every answer.

ASVS 5.0.0: 3.4.3 to 3.4.6 (headers), 3.5.1 to 3.5.3 (requests forged by other sites).
"""

import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st

from app.main import create_app
from app.settings import Settings
from app.web.guard import host_allowed
from tests.browser import Browser

NAMES = frozenset({"localhost", "shop-pc"})


@pytest.mark.parametrize(
    ("host", "allowed"),
    [
        ("localhost", True),
        ("LOCALHOST:8000", True),
        ("shop-pc:8000", True),
        ("127.0.0.1:8000", True),
        ("192.168.1.5", True),
        ("[::1]:8000", True),
        ("evil.test", False),
        ("localhost.evil.test", False),
        ("evil-localhost", False),
        ("localhost, evil.test", False),
        ("localhost:80@evil.test", False),
        ("user@localhost", False),
        ("localhost/evil", False),
        ("localhost#", False),
        ("2130706433", False),
        ("0x7f.1", False),
        ("localhost:port", False),
        ("[::1", False),
        ("", False),
        (None, False),
    ],
)
def test_only_addresses_and_configured_names_reach_the_server(host: str | None, allowed: bool) -> None:
    assert host_allowed(host, NAMES) is allowed


@given(st.text(max_size=40))
def test_no_host_header_breaks_the_check(host: str) -> None:
    assert host_allowed(host, NAMES) in (True, False)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 303),
        ({"sec-fetch-site": "same-origin"}, 303),
        ({"sec-fetch-site": "none"}, 303),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "cross-site", "origin": "http://localhost"}, 403),
        ({"origin": "http://localhost"}, 303),
        ({"origin": "http://evil.test"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://localhost:9"}, 403),
        ({"origin": "https://localhost"}, 403),
        ({"origin": "http://localhost.evil.test"}, 403),
        ({"referer": "http://localhost/people"}, 303),
        ({"referer": "http://evil.test/http://localhost"}, 403),
        ({"host": "evil.test", "origin": "http://evil.test"}, 421),
    ],
)
def test_a_write_must_come_from_our_own_pages(manager: Browser, headers: dict[str, str], status: int) -> None:
    assert manager.post("/sign-out", headers=headers).status_code == status


def test_reading_from_a_link_on_another_site_is_fine(manager: Browser) -> None:
    assert manager.get("/journal", headers={"sec-fetch-site": "cross-site"}).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "POST", "TRACE", "QUERY"])
def test_every_method_but_the_safe_ones_is_checked(manager: Browser, method: str) -> None:
    assert manager.request(method, "/journal", headers={"origin": "http://evil.test"}).status_code == 403


def test_two_host_headers_are_refused(anonymous: Browser) -> None:
    answer = anonymous.get("/sign-in", headers=[("host", "localhost"), ("host", "evil.test")])  # type: ignore[arg-type]  # a list keeps both
    assert answer.status_code == 421


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "/sign-in", {}, 200),
        ("GET", "/nowhere", {}, 404),
        ("DELETE", "/sign-in", {}, 405),
        ("GET", "/journal", {}, 303),
        ("GET", "/api/v1/journal", {}, 401),
        ("GET", "/api/v1/nowhere", {}, 404),
        ("GET", "/sign-in", {"host": "evil.test"}, 421),
        ("POST", "/sign-in", {"origin": "http://evil.test"}, 403),
        ("POST", "/sign-in", {"content-length": "999999999"}, 413),
        ("GET", "/static/none/css/base.css", {}, 404),
    ],
)
def test_every_answer_carries_the_protecting_headers(
    anonymous: Browser, method: str, path: str, headers: dict[str, str], status: int
) -> None:
    answer = anonymous.request(method, path, headers=headers)
    assert answer.status_code == status
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["x-frame-options"] == "DENY"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert "server" not in answer.headers
    assert "access-control-allow-origin" not in answer.headers


def test_a_probe_with_head_gets_the_headers_of_the_page_and_no_body(anonymous: Browser) -> None:
    answer = anonymous.head("/sign-in")
    assert answer.status_code == 200
    assert int(answer.headers["content-length"]) > 1000
    assert answer.content == b""


def test_over_https_browsers_are_told_to_stay_there(app: FastAPI) -> None:
    settings = Settings(database_url="", base_url="https://shop.example", hosts=("shop.example",))
    browser = Browser(create_app(settings, app.state.engine))
    answer = browser.get("/sign-in", headers={"host": "shop.example"})
    assert answer.headers["strict-transport-security"] == "max-age=31536000"
    # The proxy in front speaks http to us, browsers speak https to it.
    own = browser.post("/sign-out", headers={"host": "shop.example", "origin": "https://shop.example"})
    other = browser.post("/sign-out", headers={"host": "shop.example", "origin": "http://shop.example"})
    assert (own.status_code, other.status_code) == (303, 403)


def test_a_forwarded_address_is_not_believed(anonymous: Browser) -> None:
    answer = anonymous.get("/sign-in", headers={"x-forwarded-host": "evil.test", "forwarded": "host=evil.test"})
    assert "evil.test" not in answer.text


@pytest.mark.parametrize(
    ("host", "base_url", "warned"),
    [
        ("localhost", "", False),
        ("127.0.0.1:8000", "", False),
        ("[::1]:8000", "", False),
        ("192.168.1.5:8000", "", True),
        ("shop-pc", "", True),
        ("shop-pc", "https://shop-pc", False),
    ],
)
def test_who_signs_in_where_others_can_read_along_is_told(app: FastAPI, host: str, base_url: str, warned: bool) -> None:
    settings = Settings(database_url="", hosts=("shop-pc",), base_url=base_url)
    page = Browser(create_app(settings, app.state.engine)).get("/sign-in", headers={"host": host})
    assert page.status_code == 200
    assert ("This connection is not encrypted" in page.text) is warned
