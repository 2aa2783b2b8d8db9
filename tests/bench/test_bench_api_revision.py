"""A revision of 4 MiB with 400 maps through the API: upload to answer, beside SHA-256 over the three images it needs.

Run with --benchmark-enable. Target: 300 ms, also when all 400 maps changed. The ratio of processor times is what is
held, since it depends little on the machine and its neighbours. The answer holds every changed map, and nothing is
left to be computed later. Measured on two cores: 47 ms with 23 maps changed, 8 times the digests; 152 ms with nearly
all 400, 25 times.
"""

import hashlib
import time
from typing import Any

from fastapi import FastAPI
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy import Engine

from app.actions.add_layout import add_layout
from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout import Layout
from app.record.engine import transaction
from tests.api.caller import Caller
from tests.bench.families import AREA, CHECKSUM_AT, Family, family
from tests.bench.test_bench_delta import layout_of
from tests.bench.timing import medians
from tests.shop import Shop

SEED = 2
USUAL, ALL = 12.0, 37.0


def prepared(engine: Engine, f: Family) -> int:
    """A unit with confirmed stock and the family's layout; its id."""
    block = ChecksumDefinition("maps", "CRC-32/ISO-HDLC", ((AREA, AREA + 0x4_0000),), CHECKSUM_AT)
    layout = Layout("bench", maps=layout_of(f).maps, checksums=(block,))
    with transaction(engine) as session:
        shop = Shop(session)
        unit = shop.unit(software_number="BENCH-1")
        add_layout(
            session,
            person=shop.person,
            at=shop.now(),
            name="bench",
            definitions=layout,
            source="table",
            software_number="BENCH-1",
        )
        shop.stock(unit, f.images[0])
        return unit.id


def _measured(app: FastAPI, engine: Engine, benchmark: BenchmarkFixture, changed: int, limit: float) -> None:
    rounds = 1 if benchmark.disabled else 10
    f = family(SEED, revisions=rounds + 1, changed=(changed, changed), branching=0)
    unit_id = prepared(engine, f)
    caller = Caller(app, engine, "tuner")
    numbers = iter(range(1, len(f.images)))
    last: dict[str, Any] = {}

    def log() -> None:
        parent = {"parent_id": str(last["id"])} if last else {}
        number = next(numbers)
        answer = caller.upload(
            f"/control-units/{unit_id}/revisions", f.images[number], "r.bin", title="t", purpose="p", **parent
        )
        assert answer.status_code == 201, answer.text
        last.update(answer.json() | {"image": number})

    def digests() -> None:
        for _ in range(3):
            hashlib.sha256(f.images[0]).digest()

    baseline, taken = medians(rounds, digests, log, clock=time.process_time)
    assert [one["name"] for one in last["deltas"]] == _touched(f, last["image"])
    assert len(last["deltas"]) > 0.9 * changed
    assert [one["state"] for one in last["block_checksums"]] == ["holds"]
    assert last["unexplained_bytes"] == 0
    benchmark.extra_info |= {"SHA-256 of three images, s": baseline, "log, s": taken, "ratio": taken / baseline}
    benchmark(lambda: None)
    assert benchmark.disabled or taken <= limit * baseline


def _touched(f: Family, number: int) -> list[str]:
    """Maps of which a byte differs between an image and its parent, found without anything that is measured here."""
    before, after = f.images[f.parents[number]], f.images[number]
    spans = [(s.name, s.address, s.address + s.rows * s.columns * s.itemsize) for s in f.spots]
    return [name for name, start, end in spans if before[start:end] != after[start:end]]


def test_a_usual_revision_is_logged_and_explained_within_a_blink(
    app: FastAPI, sqlite_engine: Engine, benchmark: BenchmarkFixture
) -> None:
    _measured(app, sqlite_engine, benchmark, 23, USUAL)


def test_a_revision_that_changes_all_400_maps(app: FastAPI, sqlite_engine: Engine, benchmark: BenchmarkFixture) -> None:
    _measured(app, sqlite_engine, benchmark, 400, ALL)
