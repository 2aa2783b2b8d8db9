"""`revledger serve` as a process: first start, backup before a migration, who may come in, what one client can do."""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlencode

import pytest
from sqlalchemy import Engine, func, select

from app.cli.serve import address_of, listen, refuse_open_network
from app.errors import Conflict
from app.record import people, sign_ins
from app.record.engine import make_engine, reading, transaction
from app.record.tables import JournalEntry
from app.record.verify import verify

PASSWORD = "six blue geese walk"


@dataclass
class Server:
    process: subprocess.Popen[str]
    port: int
    said: str

    def ask(self, method: str, path: str, body: str | None = None, **headers: str) -> tuple[int, dict[str, str]]:
        """Status and headers of the answer."""
        kind = {"Content-Type": "application/x-www-form-urlencoded"} if body is not None else {}
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)) as connection:
            connection.request(method, path, body, kind | headers)
            answer = connection.getresponse()
            answer.read()
            return answer.status, {name.lower(): value for name, value in answer.getheaders()}

    def peak_kb(self) -> int:
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        found = re.search(r"VmHWM:\s+(\d+)", status)
        assert found is not None
        return int(found[1])


def environment(database: Path) -> dict[str, str]:
    return os.environ | {"REVLEDGER_DATABASE_URL": f"sqlite:///{database}", "PYTHONUNBUFFERED": "1"}


def run(database: Path, *arguments: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "app", *arguments],
        input=stdin,
        env=environment(database),
        capture_output=True,
        text=True,
        timeout=120,
    )


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Server]]:
    """Starts servers on a free port; they end with the test."""
    running: list[subprocess.Popen[str]] = []

    def of(database: Path | None = None, *arguments: str) -> Server:
        process = subprocess.Popen(
            [sys.executable, "-m", "app", "serve", "--port", "0", *arguments],
            env=environment(database or tmp_path / "revledger.db"),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        running.append(process)
        said = ""
        assert process.stdout is not None
        while "runs at" not in said:
            line = process.stdout.readline()
            assert line, f"the server ended: {said}"
            said += line
        found = re.search(r"http://127\.0\.0\.1:(\d+)", said)
        assert found is not None
        server = Server(process, int(found[1]), said)
        for _ in range(600):
            try:
                socket.create_connection(("127.0.0.1", server.port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.1)
        return server

    yield of
    for process in running:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=30)


def test_the_first_start_prints_a_link_that_sets_up_the_first_manager(
    start: Callable[..., Server], tmp_path: Path
) -> None:
    server = start()
    assert f"The record lies in {tmp_path / 'revledger.db'}\n" in server.said
    assert server.process.stdout is not None
    printed = server.process.stdout.readline()
    key = re.search(r"/first-run\?key=([\w-]{43})$", printed.strip())
    assert key is not None
    fields = {"key": key[1], "name": "Mara Quint", "password": PASSWORD, "password_again": PASSWORD}
    assert server.ask("POST", "/first-run", urlencode(fields))[0] == 303
    status, headers = server.ask("POST", "/sign-in", urlencode({"name": "Mara Quint", "password": PASSWORD}))
    assert status == 303
    assert "server" not in headers
    assert server.ask("GET", "/people", cookie=headers["set-cookie"].split(";")[0])[0] == 200
    assert server.ask("GET", "/people")[0] == 303


def test_one_client_cannot_fill_the_memory_or_shut_others_out(start: Callable[..., Server]) -> None:
    server = start()
    server.ask("GET", "/sign-in")
    before = server.peak_kb()
    with ExitStack() as connections:
        for _ in range(200):  # requests that never end
            one = connections.enter_context(socket.create_connection(("127.0.0.1", server.port), timeout=5))
            one.sendall(b"GET /sign-in HTTP/1.1\r\nHost: local")
        assert server.ask("GET", "/sign-in")[0] == 200
        large = connections.enter_context(socket.create_connection(("127.0.0.1", server.port), timeout=30))
        large.sendall(
            b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n"
            b"Content-Type: application/x-www-form-urlencoded\r\n\r\n"
        )
        chunk = b"10000\r\n" + bytes(1 << 16) + b"\r\n"
        for _ in range(32):
            large.sendall(chunk)
        assert large.recv(12) == b"HTTP/1.1 413"  # long before all of it was sent
        for _ in range(1 << 12):  # the rest is thrown away, so that a browser gets to show the answer
            large.sendall(chunk)
        assert server.peak_kb() - before < 60_000
        assert server.ask("GET", "/sign-in")[0] == 200


@pytest.mark.parametrize("workers", ["1", "2"])
def test_many_who_write_and_read_at_once_are_all_served(
    start: Callable[..., Server], sqlite_engine: Engine, workers: str
) -> None:
    with transaction(sqlite_engine) as session:
        person = people.add(session, name="Mara", role="manager", password_hash=None, at=datetime.now(UTC))
        token = sign_ins.start(session, person.id, datetime.now(UTC))
    server = start(Path(str(sqlite_engine.url.database)), "--workers", workers)
    answers: list[int] = []

    def work(number: int) -> None:
        for turn in range(6):
            form = urlencode({"form_key": f"{number:010}{turn:010}", "theme": ("dark", "light")[turn % 2]})
            answers.append(server.ask("POST", "/settings/preferences", form, Cookie=f"revledger={token}")[0])
            answers.append(server.ask("GET", "/journal", Cookie=f"revledger={token}")[0])

    threads = [threading.Thread(target=work, args=(number,)) for number in range(24)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(set(answers)) == [200, 303] and answers.count(303) == 24 * 6
    with reading(sqlite_engine) as session:
        assert session.scalar(select(func.count()).select_from(JournalEntry)) == 24 * 6
        assert verify(session).clean


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "shop-pc"])
def test_other_computers_are_not_let_in_before_anyone_has_a_password(sqlite_engine: Engine, host: str) -> None:
    with pytest.raises(Conflict, match="revledger person add"):
        refuse_open_network(sqlite_engine, host)
    with transaction(sqlite_engine) as session:
        people.add(session, name="Mara", role="manager", password_hash="hash", at=datetime.now(UTC))
    refuse_open_network(sqlite_engine, host)


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost", "127.8.8.8"])
def test_this_computer_alone_needs_no_password_yet(sqlite_engine: Engine, host: str) -> None:
    refuse_open_network(sqlite_engine, host)


def test_a_taken_port_is_told_in_one_sentence() -> None:
    with closing(listen("127.0.0.1", 0)) as first:
        first.listen()
        port = first.getsockname()[1]
        with pytest.raises(Conflict, match=f"Cannot listen on 127.0.0.1 port {port}"):
            listen("127.0.0.1", port)


def test_the_printed_address_can_be_opened() -> None:
    with closing(listen("0.0.0.0", 0)) as everywhere, closing(listen("::1", 0)) as six:
        assert address_of(everywhere) == f"http://127.0.0.1:{everywhere.getsockname()[1]}"
        assert address_of(six) == f"http://[::1]:{six.getsockname()[1]}"
        assert address_of(six, "shop-pc") == f"http://shop-pc:{six.getsockname()[1]}"


def test_an_older_database_is_copied_before_it_is_brought_up_to_date(tmp_path: Path) -> None:
    database = tmp_path / "revledger.db"
    assert run(database, "person", "add", "Mara Quint", "--role", "manager", stdin=PASSWORD + "\n").returncode == 0
    engine = make_engine(f"sqlite:///{database}")
    with engine.begin() as connection:  # what a database of an earlier version looks like to the program
        connection.exec_driver_sql("update alembic_version set version_num = '0000'")
    engine.dispose()
    refused = run(database, "verify")
    assert refused.returncode == 1
    assert "newer Revledger (schema 0000)" in refused.stderr
    (copy,) = tmp_path.glob("revledger.before-*.db")
    engine = make_engine(f"sqlite:///{copy}")
    with reading(engine) as session:
        assert [person.name for person in people.everyone(session)] == ["Mara Quint"]
    engine.dispose()


def test_the_database_is_for_its_owner_alone(tmp_path: Path) -> None:
    database = tmp_path / "new" / "folder" / "revledger.db"
    assert run(database, "verify").returncode == 0
    assert database.parent.stat().st_mode & 0o077 == 0
