"""Nobody without an account can make the server take their bytes: the answer comes before the body does.

ASVS 5.0.0: 5.2.1 (files that could fill the disk), 8.2.1. A client that has sent only the head of its request waits
for the answer on a real server; a server that read the body first would never give it.
"""

import socket
from collections.abc import Iterator
from urllib.parse import urlsplit

import httpx2
import pytest

from app.web.uploads import UPLOAD_LIMIT
from tests.browser import Browser
from tests.served import Served, command_ok, serving

LARGE = UPLOAD_LIMIT - 1000
FORM = "content-type: multipart/form-data; boundary=x"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    file = tmp_path_factory.mktemp("served") / "shop.db"
    with serving(file) as running:
        yield running


@pytest.fixture(scope="module")
def token(served: Served) -> str:
    command_ok(served.file, "person", "add", "M. Ostrow", "--role", "manager", typed="rollers hum at dawn 47\n" * 2)
    return command_ok(served.file, "token", "create", "M. Ostrow", "--label", "test").split()[-1]


def head_only(served: Served, path: str, *headers: str) -> str:
    """The first line of the answer to a request of which only the head was sent; empty when none came."""
    address = urlsplit(served.base)
    assert address.hostname and address.port
    lines = [f"POST {path} HTTP/1.1", f"host: {address.netloc}", *headers, "", ""]
    with socket.create_connection((address.hostname, address.port), timeout=3) as connection:
        connection.sendall("\r\n".join(lines).encode())
        try:
            return connection.recv(4096).decode("latin-1").split("\r\n")[0]
        except TimeoutError:
            return ""


@pytest.mark.parametrize("length", [f"content-length: {LARGE}", "content-length: 400", "transfer-encoding: chunked"])
@pytest.mark.parametrize(
    ("path", "answer"),
    [
        ("/vehicles/1/files", "303"),
        ("/control-units/1/reads", "303"),
        ("/inbox", "303"),
        ("/restores/1/steps/supply", "303"),
        ("/nowhere", "303"),
        ("/api/v1/control-units/1/stock-reads", "401"),
        ("/api/v1/vehicles", "401"),
    ],
)
def test_nobody_is_answered_before_their_body_comes(served: Served, path: str, answer: str, length: str) -> None:
    assert answer in head_only(served, path, FORM, length)


@pytest.mark.parametrize("length", [f"content-length: {LARGE}", "transfer-encoding: chunked"])
@pytest.mark.parametrize(
    ("path", "credential", "answer"),
    [
        ("/vehicles/1/files", "cookie: revledger=guessed", "303"),
        ("/vehicles/1/files", "authorization: Bearer guessed", "303"),
        ("/api/v1/control-units/1/stock-reads", "authorization: Bearer guessed", "401"),
        ("/api/v1/control-units/1/stock-reads", "cookie: revledger=guessed", "401"),
    ],
)
def test_a_made_up_token_opens_no_way_for_a_large_body(
    served: Served, path: str, credential: str, answer: str, length: str
) -> None:
    assert answer in head_only(served, path, FORM, length, credential)


def test_who_holds_a_token_may_send_the_body(served: Served, token: str) -> None:
    path = "/api/v1/control-units/1/stock-reads"
    assert head_only(served, path, FORM, f"content-length: {LARGE}", f"authorization: Bearer {token}") == ""
    sent = httpx2.post(
        served.base + path, headers={"authorization": f"Bearer {token}"}, files={"file": ("x.bin", bytes(2 << 20))}
    )
    assert sent.status_code == 404  # there is no such control unit: the body was taken


def test_a_refused_body_that_comes_all_the_same_is_let_run_out(served: Served) -> None:
    sent = httpx2.post(f"{served.base}/vehicles/1/files", files={"file": ("x.bin", bytes(8 << 20))}, timeout=30)
    assert (sent.status_code, sent.headers["location"]) == (303, "/sign-in")


def test_the_sign_in_page_still_takes_its_form(anonymous: Browser) -> None:
    assert anonymous.post("/sign-in", data={"name": "x", "password": "y"}).status_code == 401
    assert anonymous.post("/first-run", data={"key": "x"}).status_code == 422


def test_a_form_of_somebody_who_was_signed_out_leads_back_to_its_page(anonymous: Browser) -> None:
    answer = anonymous.submit("/vehicles", {"vin": "x"}, headers={"referer": "http://localhost/vehicles/new"})
    assert answer.headers["location"] == "/sign-in?next=/vehicles/new"
