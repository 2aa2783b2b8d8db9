"""Files that come in: their size, and the names browsers give them. ASVS 5.0.0: 5.1.1, 5.2.1, 5.3.2, 5.4.1."""

import asyncio
import io

import pytest
from fastapi import FastAPI, UploadFile
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine

from app.errors import BadInput, TooLarge
from app.web.uploads import BODY_LIMIT, UPLOAD_LIMIT, label_of, read_upload
from tests.api.caller import Caller
from tests.browser import Browser


@pytest.mark.parametrize(
    ("sent", "label"),
    [
        ("stock.bin", "stock.bin"),
        ("../../etc/passwd", "passwd"),
        ("C:\\shop\\stock.bin", "stock.bin"),
        ("/abs/stock.bin", "stock.bin"),
        ("a\r\nSet-Cookie: x=1.bin", "aSet-Cookie: x=1.bin"),
        ("nul\x00.bin", "nul.bin"),
        ("\u202egnp.exe", "gnp.exe"),
        ("Prüfung 3.csv", "Prüfung 3.csv"),
        ("", "unnamed"),
        (None, "unnamed"),
        ("  ", "unnamed"),
        ("..", ".."),
    ],
)
def test_a_client_file_name_is_a_printable_label(sent: str | None, label: str) -> None:
    assert label_of(sent) == label


@given(st.text(max_size=400))
def test_no_file_name_is_long_unprintable_or_a_path(name: str) -> None:
    label = label_of(name)
    assert 1 <= len(label) <= 255
    assert not set("/\\\r\n\x00") & set(label)


def test_a_long_name_keeps_its_ending() -> None:
    assert label_of("x" * 300 + ".bin") == "x" * 251 + ".bin"


def upload(data: bytes, name: str = "stock.bin", size: int | None = None) -> UploadFile:
    return UploadFile(io.BytesIO(data), filename=name, size=size)


def test_a_file_is_read_whole_with_its_label() -> None:
    assert read_upload(upload(b"abc", "x/y.bin"), field="file") == (b"abc", "y.bin")


@pytest.mark.parametrize("file", [None, upload(b"abc", ""), upload(b"")])
def test_a_missing_or_empty_file_is_refused(file: UploadFile | None) -> None:
    with pytest.raises(BadInput) as refused:
        read_upload(file, field="image")
    assert refused.value.field == "image"


@pytest.mark.parametrize("size", [None, 1, 5000])
def test_a_file_above_the_limit_is_refused_whatever_size_it_claims(size: int | None) -> None:
    with pytest.raises(TooLarge):
        read_upload(upload(bytes(1025), size=size), field="file", limit=1024)


def test_a_gigabyte_is_refused_at_once_when_it_is_announced(manager: Browser) -> None:
    answer = manager.post("/people", headers={"content-length": str(1 << 30)}, content=b"")
    assert answer.status_code == 413
    assert "larger than this place accepts" in answer.text
    assert answer.headers["content-type"].startswith("text/html")


@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "multipart/form-data; boundary=x"])
def test_a_gigabyte_that_was_not_announced_is_refused_after_the_first_megabyte(
    app: FastAPI, manager: Browser, kind: str
) -> None:
    asked, sent = 0, []

    async def receive() -> dict[str, object]:
        nonlocal asked
        asked += 1
        start = b'--x\r\nContent-Disposition: form-data; name="f"; filename="f"\r\n\r\n' if asked == 1 else b""
        return {"type": "http.request", "body": start + bytes(1 << 16), "more_body": asked < 1 << 14}

    async def send(message: dict[str, object]) -> None:
        sent.append(message)

    headers = {"host": "localhost", "content-type": kind, "cookie": f"revledger={manager.cookies['revledger']}"}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/people",
        "raw_path": b"/people",
        "query_string": b"",
        "root_path": "",
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8000),
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
    }
    asyncio.run(app(scope, receive, send))  # type: ignore[arg-type]  # plain dicts are ASGI messages
    assert sent[0]["status"] == 413
    assert asked <= BODY_LIMIT // (1 << 16) + 2


def test_the_api_says_413_as_problem_details(app: FastAPI, sqlite_engine: Engine) -> None:
    program = Caller(app, sqlite_engine, "manager")
    answer = program.post("/layouts", headers={"content-length": str(UPLOAD_LIMIT + 1)})
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["title"] == "Too large"


def test_thousands_of_fields_are_refused(manager: Browser) -> None:
    answer = manager.submit("/people", {f"f{n}": "x" for n in range(3000)})
    assert answer.status_code == 422
