"""What cannot be used is refused by the running server with a status and one clear sentence that names the place, and
leaves the database as it was. Real HTTP, real process; the files are those that go wrong in a workshop."""

import random
import re
import socket
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx2
import pytest

from app.record.engine import make_engine
from app.record.migrate import upgrade
from tests.served import PASSWORD, Served, command_ok, serving
from tests.shop import LAYOUT, changed, vin, with_sum

MIB = 1 << 20
GIB = 1 << 30
NAME = "Ada Renn"
STOCK = with_sum(random.Random(2204).randbytes(4096))
# The file limit is 64 MiB; with the fields around it and what lies in the sockets' buffers, twice that is plenty.
MOST_SENT = 128 * MIB
MOST_GROWTH = 100 * MIB


@dataclass
class Shop:
    """A car with confirmed stock, a layout, a dyno session; a second unit that was read once."""

    served: Served
    api: httpx2.Client
    token: str
    cookie: str
    car: int
    unit: int
    once_read: int
    session: int

    def counts(self) -> dict[str, int]:
        with closing(sqlite3.connect(f"file:{self.served.file}?mode=ro", uri=True)) as database:
            tables = [row[0] for row in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
            return {name: database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    file = tmp_path_factory.mktemp("bad-input") / "shop.db"
    engine = make_engine(f"sqlite:///{file}")
    upgrade(engine)
    engine.dispose()
    command_ok(file, "person", "add", NAME, "--role", "manager", typed=PASSWORD + "\n")
    token = command_ok(file, "token", "create", NAME, "--label", "bad input").split()[-1]
    bearer = {"Authorization": f"Bearer {token}"}
    with serving(file) as served, httpx2.Client(base_url=f"{served.base}/api/v1", headers=bearer, timeout=60) as api:

        def made(path: str, **sent: Any) -> int:
            answer = api.post(path, **sent)
            assert answer.status_code == 201, answer.text
            return int(answer.json()["id"])

        car = made("/vehicles", json={"vin": vin(1), "make": "Velmora", "model": "Sirrus"})
        made("/layouts", files={"file": ("sw-1.csv", LAYOUT)}, data={"name": "SW-1", "software_number": "SW-1"})
        units = [
            made(
                f"/vehicles/{car}/control-units", json={"role": role, "hardware_number": "H", "software_number": "SW-1"}
            )
            for role in ("engine", "transmission")
        ]
        for _ in range(2):
            made(f"/control-units/{units[0]}/stock-reads", files={"file": ("stock.bin", STOCK)})
        made(f"/control-units/{units[1]}/stock-reads", files={"file": ("stock.bin", STOCK)})
        dyno = made("/dynos", json={"name": "North cell"})
        session = made(f"/vehicles/{car}/dyno-sessions", json={"dyno_id": dyno, "pressure_hpa": 1005.0})
        with httpx2.Client(base_url=served.base, headers={"Origin": served.base}, timeout=60) as client:
            client.post("/sign-in", data={"name": NAME, "password": PASSWORD, "next": "/"})
            cookie = client.cookies["revledger"]
        yield Shop(served, api, token, cookie, car, units[0], units[1], session)


@pytest.fixture
def refused(shop: Shop) -> Callable[..., dict[str, Any]]:
    """Sends what must be refused; gives the problem and checks that nothing was recorded."""

    def send(path: str, *, status: int, says: str, place: str | None = None, **sent: Any) -> dict[str, Any]:
        before = shop.counts()
        answer = shop.api.post(path, **sent)
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        problem: dict[str, Any] = answer.json()
        assert re.search(says, problem["detail"]), problem
        if place is not None:
            assert place in (problem.get("where") or problem.get("field") or ""), problem
        assert not re.search(r"Traceback|Error:|line \d+, in ", problem["detail"])
        assert shop.counts() == before
        return problem

    return send


def intel_hex(data: bytes) -> list[str]:
    """Records of 16 bytes as Intel's specification of 1988 writes them, checksum: two's complement of the sum."""
    lines = []
    for at in range(0, len(data), 16):
        record = bytes((16, at >> 8, at & 0xFF, 0)) + data[at : at + 16]
        lines.append(f":{record.hex().upper()}{-sum(record) & 0xFF:02X}")
    return [*lines, ":00000001FF"]


def test_a_truncated_hex_file_is_refused_with_its_line(shop: Shop, refused: Callable[..., Any]) -> None:
    text = "\n".join(intel_hex(STOCK))[:1000]
    last = text.count("\n") + 1
    file = {"file": ("cut.hex", text.encode())}
    refused(
        f"/control-units/{shop.once_read}/stock-reads", status=422, says="Expected", place=f"line {last}", files=file
    )


def test_a_hex_file_without_its_end_is_refused(shop: Shop, refused: Callable[..., Any]) -> None:
    lines = intel_hex(STOCK)[:40]
    file = {"file": ("cut.hex", "\n".join(lines).encode())}
    path = f"/control-units/{shop.once_read}/stock-reads"
    refused(path, status=422, says="end record.*end of the file", place="line 40", files=file)


def test_a_hex_record_with_a_wrong_checksum_is_refused_with_its_line(shop: Shop, refused: Callable[..., Any]) -> None:
    lines = intel_hex(STOCK)
    right = lines[6][-2:]
    wrong = f"{int(right, 16) ^ 0x01:02X}"
    lines[6] = lines[6][:-2] + wrong
    file = {"file": ("bad.hex", "\n".join(lines).encode())}
    path = f"/control-units/{shop.once_read}/stock-reads"
    problem = refused(path, status=422, says="checksum", place="line 7", files=file)
    assert right in problem["detail"]
    assert wrong in problem["detail"]


@pytest.mark.parametrize(
    ("data", "says"),
    [(b"", "empty"), (b"\n\n", "empty"), (b"Engine speed [1/min];Torque [Nm]\n", "table|numbers")],
    ids=["no byte", "no line", "headings only"],
)
def test_an_empty_table_of_pulls_is_refused(shop: Shop, refused: Callable[..., Any], data: bytes, says: str) -> None:
    refused(f"/dyno-sessions/{shop.session}/runs", status=422, says=says, files={"file": ("pull.csv", data)})


@pytest.mark.parametrize("unit", ["°C", "bar", "km/h"])
def test_pulls_in_a_unit_that_is_no_torque_are_refused(shop: Shop, refused: Callable[..., Any], unit: str) -> None:
    rows = [f"Engine speed [1/min];Torque [{unit}]", *(f"{rpm};{200 + rpm % 70}" for rpm in range(1500, 6500, 50))]
    file = {"file": ("pull.csv", "\n".join(rows).encode())}
    refused(
        f"/dyno-sessions/{shop.session}/runs", status=422, says="two columns .* recognised", place="line 1", files=file
    )


def test_the_same_vin_twice_is_refused_and_names_the_field(refused: Callable[..., Any]) -> None:
    car = {"vin": vin(1).lower(), "make": "Tarkess", "model": "Lanner"}
    refused("/vehicles", status=409, says="on record", place="vin", json=car)


def test_a_second_read_that_differs_is_refused_with_its_addresses(shop: Shop, refused: Callable[..., Any]) -> None:
    file = {"file": ("again.bin", changed(STOCK, 0x234, 0x7F0))}
    path = f"/control-units/{shop.once_read}/stock-reads"
    problem = refused(path, status=409, says="2 bytes, first at 0x234", place="address 0x234", files=file)
    assert [line.split(":")[0] for line in problem["details"]] == ["0x00000234", "0x000007F0"]


def test_a_flash_of_an_image_whose_checksum_does_not_hold_is_refused(shop: Shop, refused: Callable[..., Any]) -> None:
    broken = changed(STOCK, 0x110)
    told = {"title": "Sum left wrong", "purpose": "The editing tool did not correct it"}
    logged = shop.api.post(
        f"/control-units/{shop.unit}/revisions", data=told, files={"file": ("r1.bin", broken)}
    ).json()
    flash = {"revision_id": logged["id"], "outcome": "completed", "supply_before_v": 13.6, "supply_lowest_v": 13.4}
    path = f"/control-units/{shop.unit}/flashes"
    problem = refused(path, status=409, says="checksum “block” .* does not hold", place="revision_id", json=flash)
    stored, held = sum(STOCK[0x100:0x180]) & 0xFFFF, sum(broken[0x100:0x180]) & 0xFFFF
    assert problem["details"] == [f"block: stored {stored:X}, computed {held:X}"]


@pytest.mark.parametrize("declared", [True, False], ids=["length declared", "chunked"])
@pytest.mark.parametrize("page", [False, True], ids=["API", "page"])
def test_a_gigabyte_is_refused_while_it_comes_in(shop: Shop, declared: bool, page: bool) -> None:
    before, rss = shop.counts(), resident(shop.served)
    path = f"/control-units/{shop.once_read}/stock-reads"
    began = time.monotonic()
    with socket.create_connection((urlsplit(shop.served.base).hostname, urlsplit(shop.served.base).port)) as line:
        line.settimeout(60)
        line.sendall(head_of(shop, path if page else f"/api/v1{path}", declared))
        sent, answer = pour(line, declared)
    assert answer.startswith(b"HTTP/1.1 413"), answer[:200]
    assert b"larger than" in answer
    # A length that is too large is known before the first byte; without one it is known at the limit.
    assert sent <= (4 * MIB if declared else MOST_SENT)
    assert time.monotonic() - began < 30
    assert peak(shop.served) - rss < MOST_GROWTH
    assert shop.counts() == before
    assert shop.api.get(f"/vehicles/{shop.car}").status_code == 200


def head_of(shop: Shop, path: str, declared: bool) -> bytes:
    length = f"Content-Length: {GIB}" if declared else "Transfer-Encoding: chunked"
    lines = [
        f"POST {path} HTTP/1.1",
        f"Host: {urlsplit(shop.served.base).netloc}",
        f"Origin: {shop.served.base}",
        f"Authorization: Bearer {shop.token}" if path.startswith("/api/") else f"Cookie: revledger={shop.cookie}",
        "Content-Type: multipart/form-data; boundary=b0und",
        length,
    ]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


def pour(line: socket.socket, declared: bool) -> tuple[int, bytes]:
    """Send a gigabyte until the server answers; bytes sent, and the answer."""
    opening = b'--b0und\r\nContent-Disposition: form-data; name="file"; filename="all.bin"\r\n\r\n'
    sent, part = 0, opening
    while sent < GIB and not answered(line):
        try:
            line.sendall(part if declared else b"%X\r\n%s\r\n" % (len(part), part))
        except (BrokenPipeError, ConnectionResetError):
            break
        sent += len(part)
        part = bytes(256 * 1024)
    answer = b""
    try:
        while more := line.recv(65536):
            answer += more
            if b"larger than" in answer:
                break
    except ConnectionResetError:
        pass
    return sent, answer


def answered(line: socket.socket) -> bool:
    line.setblocking(False)
    try:
        return bool(line.recv(1, socket.MSG_PEEK))
    except BlockingIOError:
        return False
    finally:
        line.settimeout(60)


def resident(served: Served) -> int:
    return memory_of(served, "VmRSS")


def peak(served: Served) -> int:
    return memory_of(served, "VmHWM")


def memory_of(served: Served, what: str) -> int:
    """From proc(5), in bytes."""
    status = Path(f"/proc/{served.process.pid}/status").read_text()
    found = re.search(rf"{what}:\s+(\d+) kB", status)
    assert found is not None
    return int(found[1]) * 1024
