"""Killed at any moment while files come in, the record keeps what it has acknowledged and nothing half-written.

A real server process on a SQLite file, clients over HTTP, SIGKILL at a random moment, start again, look. After each
kill: every acknowledged write is there with its bytes, each row stands with its journal entry, the database is sound,
pages load, and a form that was sent but never answered is recorded once, however often it is sent.
"""

import hashlib
import itertools
import random
import sqlite3
import threading
import time
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import httpx2
import pytest

from app.record.engine import make_engine
from app.record.migrate import upgrade
from tests.served import PASSWORD, Served, command_ok, start, start_fast, stop
from tests.shop import vin

NAME = "Ada Renn"
WRITERS = 3
IMAGE_BYTES = 48 * 1024
KILLS_A_CAMPAIGN = 25
CAMPAIGNS = 40


@dataclass
class Shop:
    """The database, how to get in, and what the server has said is recorded."""

    file: Path
    token: str
    cookies: httpx2.Cookies
    images: dict[int, str] = field(default_factory=dict)
    cars: dict[int, str] = field(default_factory=dict)
    scans: dict[str, int] = field(default_factory=dict)
    unanswered: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    broken_off: int = 0
    next_car: int = 0
    car_acknowledged: threading.Event = field(default_factory=threading.Event)
    image_acknowledged: threading.Event = field(default_factory=threading.Event)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def new_vin(self) -> str:
        with self.lock:
            self.next_car += 1
            return vin(self.next_car)


class Writer(threading.Thread):
    """Registers cars, reads stock twice, logs revisions and scans faults until the server is gone."""

    def __init__(self, shop: Shop, base: str, seed: int) -> None:
        super().__init__()
        self.shop, self.draw = shop, random.Random(seed)
        self.base = base
        self.problem: BaseException | None = None

    def run(self) -> None:
        bearer = {"Authorization": f"Bearer {self.shop.token}"}
        try:
            with (
                httpx2.Client(base_url=f"{self.base}/api/v1", headers=bearer, timeout=20) as api,
                httpx2.Client(base_url=self.base, cookies=self.shop.cookies, timeout=20) as pages,
            ):
                while True:
                    self.import_a_car(api, pages)
        except httpx2.TransportError:
            with self.shop.lock:
                self.shop.broken_off += 1
        except BaseException as problem:
            self.problem = problem

    def import_a_car(self, api: httpx2.Client, pages: httpx2.Client) -> None:
        number = self.shop.new_vin()
        car = created(api.post("/vehicles", json={"vin": number, "make": "Velmora", "model": "Sirrus"}))
        self.shop.cars[car] = number
        self.shop.car_acknowledged.set()
        self.scan_faults(pages, car)
        numbers = {"role": "engine", "hardware_number": "HW-1", "software_number": "SW-1"}
        unit = created(api.post(f"/vehicles/{car}/control-units", json=numbers))
        image = self.draw.randbytes(IMAGE_BYTES)
        for name in ("read-1.bin", "read-2.bin"):
            created(api.post(f"/control-units/{unit}/stock-reads", files={"file": (name, image)}))
        for change in range(3):
            image = self.edited(image)
            told = {"title": f"Change {change}", "purpose": "To see whether it stays"}
            sent = api.post(f"/control-units/{unit}/revisions", data=told, files={"file": ("image.bin", image)})
            self.shop.images[created(sent)] = hashlib.sha256(image).hexdigest()
            self.shop.image_acknowledged.set()

    def scan_faults(self, pages: httpx2.Client, car: int) -> None:
        """Through the page, whose form carries a key: what stays unanswered is sent again later."""
        key = f"{self.draw.getrandbits(128):032x}"
        address, fields = f"/vehicles/{car}/fault-scans", scan_form(key)
        with self.shop.lock:
            self.shop.unanswered.append((address, fields))
        assert pages.post(address, data=fields).status_code == 303
        with self.shop.lock:
            self.shop.unanswered.remove((address, fields))
            self.shop.scans[key] = car

    def edited(self, image: bytes) -> bytes:
        at = self.draw.randrange(len(image) - 64)
        return image[:at] + self.draw.randbytes(64) + image[at + 64 :]


def scan_form(key: str) -> dict[str, str]:
    return {"form_key": key, "text": "P0171 System too lean bank 1\n", "occasion": f"scan {key}"}


def created(answer: httpx2.Response) -> int:
    assert answer.status_code == 201, answer.text
    return int(answer.json()["id"])


def open_shop(folder: Path) -> Shop:
    """An empty database with one manager who has a token and has signed in."""
    file = folder / "shop.db"
    engine = make_engine(f"sqlite:///{file}")
    upgrade(engine)
    engine.dispose()
    command_ok(file, "person", "add", NAME, "--role", "manager", typed=PASSWORD + "\n")
    token = command_ok(file, "token", "create", NAME, "--label", "kill programme").split()[-1]
    served = start(file)  # as people start it; the restarts after each kill are the quicker kind
    with httpx2.Client(base_url=served.base, headers={"Origin": served.base}) as client:
        assert client.post("/sign-in", data={"name": NAME, "password": PASSWORD, "next": "/"}).status_code == 303
        cookies = httpx2.Cookies({"revledger": client.cookies["revledger"]})
    stop(served)
    return Shop(file, token, cookies)


def work_until_killed(shop: Shop, served: Served, begun: threading.Event, draw: random.Random) -> None:
    begun.clear()
    writers = [Writer(shop, served.base, draw.getrandbits(32)) for _ in range(WRITERS)]
    for writer in writers:
        writer.start()
    # The clock runs from an acknowledgement: however slow the machine, the kill falls into the middle of work.
    assert begun.wait(timeout=60)
    time.sleep(draw.uniform(0.0, 0.35))
    stop(served, hard=True)
    for writer in writers:
        writer.join()
        if writer.problem is not None:
            raise writer.problem


def check(shop: Shop, served: Served, draw: random.Random) -> None:
    """Everything promised at the top of this file, on the server that was started again."""
    bearer = {"Authorization": f"Bearer {shop.token}"}
    with httpx2.Client(base_url=f"{served.base}/api/v1", headers=bearer, timeout=60) as api:
        found = api.get("/journal/verify").json()
        assert found["findings"] == []
        assert found["clean"] is True
        newest = sorted(shop.images)[-4:]
        for revision in {*newest, *draw.sample(sorted(shop.images), min(4, len(shop.images)))}:
            image = api.get(f"/revisions/{revision}/image").content
            assert hashlib.sha256(image).hexdigest() == shop.images[revision]
    with httpx2.Client(base_url=served.base, cookies=shop.cookies, timeout=60) as pages:
        for address in ("/", "/vehicles", "/journal"):
            assert pages.get(address).status_code == 200
        for address, fields in shop.unanswered:
            for _ in range(2):
                assert pages.post(address, data=fields).status_code == 303
            shop.scans[fields["form_key"]] = int(address.split("/")[2])
        shop.unanswered.clear()
    check_rows(shop)


def check_rows(shop: Shop) -> None:
    """In the file itself: acknowledged rows are there, and each row's act stands in the journal, once."""
    with closing(sqlite3.connect(f"file:{shop.file}?mode=ro", uri=True)) as database:

        def column(query: str) -> list[str]:
            return [row[0] for row in database.execute(query)]

        assert column("PRAGMA integrity_check") == ["ok"]
        assert column("PRAGMA foreign_key_check") == []
        cars = dict(database.execute("SELECT id, vin FROM vehicle"))
        assert shop.cars.items() <= cars.items()
        revisions = dict(database.execute("SELECT id, sha256 FROM revision"))
        assert shop.images.items() <= revisions.items()
        scans = column("SELECT occasion FROM fault_scan")
        assert sorted(scans) == sorted(f"scan {key}" for key in shop.scans)
        for act, table in (
            ("register vehicle", "vehicle"),
            ("add control unit", "control_unit"),
            ("log revision", "revision"),
            ("scan faults", "fault_scan"),
        ):
            entries = database.execute("SELECT count(*) FROM journal_entry WHERE action = ?", (act,)).fetchone()
            assert entries == database.execute(f"SELECT count(*) FROM {table}").fetchone(), act
        reads = database.execute("SELECT count(*) FROM stock_read").fetchone()[0]
        told = database.execute("SELECT count(*) FROM journal_entry WHERE action IN ('read stock', 'confirm stock')")
        assert reads <= told.fetchone()[0]


def campaign(folder: Path, kills: int, seed: int) -> Shop:
    draw = random.Random(seed)
    shop = open_shop(folder)
    served = start_fast(shop.file)
    try:
        # By turns soon after the first car and soon after the first revision, so that no part of the work is spared.
        for begun in itertools.islice(itertools.cycle([shop.car_acknowledged, shop.image_acknowledged]), kills):
            work_until_killed(shop, served, begun, draw)
            served = start_fast(shop.file)
            check(shop, served, draw)
    finally:
        stop(served)
    return shop


def test_killed_while_files_come_in_nothing_acknowledged_is_lost_and_nothing_is_half_written(tmp_path: Path) -> None:
    shop = campaign(tmp_path, kills=15, seed=int(datetime.now(UTC).timestamp()))
    # The programme bites only if the kills fell into the middle of work.
    assert len(shop.cars) >= 15
    assert len(shop.images) >= 7
    assert shop.broken_off == 15 * WRITERS


@pytest.mark.release
@pytest.mark.parametrize("seed", range(CAMPAIGNS))
def test_a_thousand_kills_lose_nothing(tmp_path: Path, seed: int) -> None:
    campaign(tmp_path, kills=KILLS_A_CAMPAIGN, seed=seed)
